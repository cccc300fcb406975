"""The page of plain words: four topics, each with its text and a chart to play with."""

from __future__ import annotations

import streamlit as st

from batterymodel import pages
from batterymodel.explain import effects as explainer
from batterymodel.explain import wording as words
from batterymodel.explain.charts import topic_chart
from batterymodel.pages import KEPT, literal, temperatures
from batterymodel.rules.wording import CAUTIONS


def page() -> None:
    """Show the page."""
    st.html(pages.STYLE)
    st.title("In plain words")
    st.html(pages.note(explainer.example_words()))
    for topic in explainer.TOPICS:
        _show(topic)
    st.header("Cautions")
    st.html(pages.plain_list(CAUTIONS))


def _show(topic: str) -> None:
    st.header(words.TITLES[topic])
    text, chart = st.columns([2, 3], gap="large")
    with text:
        for paragraph in words.TEXTS[topic]:
            st.markdown(literal(paragraph))
        turned = explainer.PARAMETERS[topic]
        key = f"{KEPT}plain.{topic}"
        st.session_state.setdefault(key, turned.start)
        slider = temperatures.slider if topic == words.TEMPERATURE else _slider
        value = slider(words.PARAMETERS[topic], turned.low, turned.high, turned.step, key)
    with chart:
        st.altair_chart(topic_chart(topic, value, temperatures.unit()), theme=None)
        temperatures.show_html(pages.note(explainer.shown_words(topic, value)), (value,))


def _slider(label: str, low: float, high: float, step: float, key: str) -> float:
    return st.slider(label, low, high, step=step, key=key, format="%g")
