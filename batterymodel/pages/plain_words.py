"""The page of plain words: four topics, each with its text and a chart to play with."""

from __future__ import annotations

import streamlit as st

from batterymodel import pages
from batterymodel.explain import effects as explainer
from batterymodel.explain import wording as words
from batterymodel.explain.charts import topic_chart
from batterymodel.pages import KEPT, literal
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
        value = st.slider(
            words.PARAMETERS[topic], turned.low, turned.high, step=turned.step, key=key,
            format="%g",
        )  # fmt: skip
    with chart:
        st.altair_chart(topic_chart(topic, value), theme=None)
        st.html(pages.note(explainer.shown_words(topic, value)))
