"""Whatever is pressed, repeated and reloaded in whatever order: the same as each press once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from batterymodel import InputError
from batterymodel.store import open_store
from batterymodel.store.acts import State
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, leave, load, mark, note, strike, take_up, tell
from batterymodel.store.noted_readings import readings_bytes
from batterymodel.store.records import Connection
from tests.store.test_in_progress import NOW, START, C, at, with_battery


@dataclass
class Model:
    """What the connection must be, kept in the plainest way."""

    noted: dict[str, list[Any]] = field(default_factory=dict)
    told: dict[str, Any] = field(default_factory=lambda: {"serial": "B-1"})
    state: State = State.IN_PROGRESS


class Presses(RuleBasedStateMachine):
    """A page that presses, repeats what it is unsure of, and is opened anew."""

    new_store: Any = None

    @initialize()
    def begun(self):
        self.url, self.store = self.new_store()
        self.model, self.done, self.entry, self.count = Model(), [], None, 0
        self.press(lambda: begin(self.store, C, START, serial="B-1"))

    def press(self, call):
        result = call()
        self.done.append(call)
        return result

    def key(self):
        self.count += 1
        return f"press-{self.count:05}"

    @rule(
        quantity=st.sampled_from(["supply_current_a", "battery_temp_c"]),
        value=st.floats(1.0, 60.0),
        elapsed_s=st.integers(0, 900),
    )
    def note(self, quantity, value, elapsed_s):
        key = self.key()
        self.press(lambda: note(self.store, C, key, quantity, value, at(elapsed_s)))
        late = self.model.state is State.FINISHED
        self.model.noted[key] = [value, elapsed_s, False, late]

    @rule(elapsed_s=st.integers(0, 900))
    def mark(self, elapsed_s):
        key = self.key()
        self.press(lambda: mark(self.store, C, key, "avionics on", at(elapsed_s)))
        late = self.model.state is State.FINISHED
        self.model.noted[key] = ["avionics on", elapsed_s, False, late]

    @precondition(lambda self: self.model.noted)
    @rule(data=st.data(), struck=st.booleans())
    def strike(self, data, struck):
        key, chosen = self.key(), data.draw(st.sampled_from(sorted(self.model.noted)))
        if self.open_or_refused(lambda: strike(self.store, C, key, chosen, struck)):
            self.model.noted[chosen][2] = struck

    @rule(field=st.sampled_from(["load_a", "ambient_c"]), value=st.none() | st.floats(0.0, 30.0))
    def tell(self, field, value):
        key = self.key()
        if self.open_or_refused(lambda: tell(self.store, C, key, **{field: value})):
            self.model.told[field] = value

    @rule()
    def leave(self):
        key = self.key()
        if self.open_or_refused(lambda: leave(self.store, C, key, "called away")):
            self.model.state = State.LEFT

    @rule()
    def take_up(self):
        key = self.key()
        if self.open_or_refused(lambda: take_up(self.store, C, key)):
            self.model.state = State.IN_PROGRESS

    def open_or_refused(self, call):
        if self.model.state is not State.FINISHED:
            self.press(call)
            return True
        with pytest.raises(InputError, match="is finished"):
            call()
        return False

    @rule()
    def finish(self):
        key = self.key()
        if self.model.state is State.FINISHED:
            assert finish(self.store, C, key).entry == self.entry
        elif self.model.state is State.LEFT or not load(self.store, C).readings:
            with pytest.raises(InputError, match=r"was left|has no readings"):
                finish(self.store, C, key)
        else:
            self.entry = self.press(lambda: finish(self.store, C, key)).entry
            self.model.state = State.FINISHED

    @rule(data=st.data())
    def repeat(self, data):
        """Any press once more, however long ago: it says what is there now, and adds nothing."""
        said = data.draw(st.sampled_from(self.done))()
        there = load(self.store, C)
        assert said == there or said.entry == self.entry

    @rule()
    def open_anew(self):
        self.store = open_store(self.url).with_clock(lambda: NOW, self.store.new_id)

    @invariant()
    def is_what_was_pressed_once(self):
        if not getattr(self, "model", None):
            return
        there = load(self.store, C)
        found = {}
        for n in there.noted:
            content = n.what.value if n.what.act == "reading" else n.what.label
            found[n.key] = [content, n.what.elapsed_s, n.struck, n.late]
        assert found == self.model.noted
        assert len(there.noted) == len(found)
        assert there.told.given() == {k: v for k, v in self.model.told.items() if v is not None}
        assert there.state is self.model.state

    @invariant()
    def is_on_record_once(self):
        if getattr(self, "model", None):
            entries = self.store.entries(Connection)
            assert list(entries) == ([self.entry] if self.entry else [])
            if self.entry:
                kept = self.store.file(self.entry.record.readings_sha256)
                assert kept == readings_bytes(load(self.store, C))


def pressed_on(new_url, examples, steps):
    class Here(Presses):
        def new_store(self):
            url = new_url()
            return url, with_battery(open_store(url))

    few = settings(max_examples=examples, stateful_step_count=steps, deadline=None)
    run_state_machine_as_test(Here, settings=few)


@pytest.mark.long
def test_any_order_of_presses_and_repeats_comes_to_each_once(new_url):
    pressed_on(new_url, 6, 30)


@pytest.mark.slow
def test_many_orders_of_presses_and_repeats_come_to_each_once(new_url):
    pressed_on(new_url, 20, 50)
