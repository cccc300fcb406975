"""The generator of sick batteries: its physics, its truth, and that it repeats itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import Chemistry
from tests.benchmarks.sick import main
from tests.benchmarks.sickbay import cases as sickbay
from tests.benchmarks.sickbay.bus import wander_a
from tests.benchmarks.sickbay.cases import FAMILIES, SEEDS, Case, cases, growing
from tests.benchmarks.sickbay.circuit import Trace, traces
from tests.benchmarks.sickbay.curves import KINDS, open_circuit_v
from tests.benchmarks.sickbay.draw import drawn_plan
from tests.benchmarks.sickbay.laws import LAW_OF, SHELLS, shell_exchange, shell_volumes
from tests.benchmarks.sickbay.meter import history_charge_times_h
from tests.benchmarks.sickbay.plan import LAWS, Bus, Plan, altered
from tests.benchmarks.sickbay.scores import Score, minutes_to_disconnect
from tests.benchmarks.sickbay.tapers import charge_after_ah, measured_tapers, taper_cases
from tests.benchmarks.sickbay.truth import Truth, truth_of

VENTED, VRLA = Chemistry.VENTED_LEAD_ACID, Chemistry.VRLA


def plain_plan(law: str = "acceptance", chemistry: Chemistry = VRLA, **cell: object) -> Plan:
    """A battery of 40 Ah on stiff wires with a steady load, read for 20 minutes."""
    rng = np.random.default_rng(5)
    plan = drawn_plan((5,), chemistry, law, (0.8, 0.8), rng)
    healthy = {
        "plate_ah": 40.0,
        "capacity_ah": 40.0,
        "cells": KINDS[chemistry].cells[0],
        "temp_c": 25.0,
        "ambient_c": 25.0,
        "tau_h": 0.3,
        "ohm_vh": 0.02,
        "fast_share": 0.0,
        "side_per_h": 0.0,
        "offset_v": 0.0,
        "warms_per_k": 0.02,
    }
    source = {
        "set_v": 28.0,
        "limit_a": 1000.0,
        "line_ohm": 0.001,
        "lead_ohm": 0.001,
        "sag_ohm": 0.0,
        "settling_v": 0.0,
        "drift_v": 0.0,
    }
    recording = {"minutes": 20.0, "every_s": 10.0, "temperature": "none"}
    plan = altered(plan, cell=healthy | cell, source=source, recording=recording)
    return replace(plan, bus=Bus(load_a=10.0))


def trace_of(plan: Plan) -> Trace:
    return traces([plan])[0]


def at(trace: Trace, name: str, time_s: float) -> float:
    return float(np.interp(time_s, trace.time_s, getattr(trace, name)))


def family(name: str) -> sickbay.Family:
    return next(f for f in FAMILIES if f.name == name)


@pytest.fixture(scope="module")
def few() -> list[Case]:
    return cases("calibration", 4)


# --- physics ---------------------------------------------------------------------------------


@pytest.mark.parametrize("law", LAWS)
def test_charge_is_conserved(law):
    """What flowed as charging current is what is missing less, in every law."""
    trace = trace_of(plain_plan(law))
    steps_h = np.diff(trace.time_s) / 3600.0
    flowed = float(trace.charging_a[:-1] @ steps_h)
    assert flowed > 2.0
    assert trace.missing_ah[0] - trace.missing_ah[-1] == pytest.approx(flowed, rel=1e-9)


@pytest.mark.parametrize("law", LAWS)
def test_a_sound_current_falls_and_a_fuller_battery_takes_less(law):
    trace, fuller = trace_of(plain_plan(law)), trace_of(plain_plan(law, soc=0.95))
    assert (np.diff(trace.battery_a) < 1e-6).all()
    assert (fuller.battery_a < trace.battery_a).all()
    assert (fuller.battery_a > 0.0).all()


@pytest.mark.parametrize("law", LAWS)
def test_laws_agree_on_a_battery_that_only_resistance_holds_back(law):
    """Far down and quick to accept, all give (held - open circuit) / resistance."""
    plan = plain_plan(law, soc=0.2, tau_h=0.002, joint_ohm=1.0)
    plan = altered(plan, source={"limit_a": 1000.0})
    open_v = 12 * open_circuit_v(VRLA, 0.2, 25.0)
    ohm = 1.0 + 0.002 + 12 * 0.02 / 40.0
    by_hand = (28.0 - 10.0 * 0.001 - open_v) / ohm
    # kinetics still ask for some tenths of a volt of the 3.9 V; the others for next to none.
    assert at(trace_of(plan), "battery_a", 0.0) == pytest.approx(
        by_hand, rel=0.15 if law == "kinetic" else 0.02
    )


def test_acceptance_law_ends_as_the_classic_exponential():
    """Current is missing over tau: it falls by e in tau."""
    plan = altered(plain_plan(soc=0.995, tau_h=0.2), recording={"minutes": 15.0})
    trace = trace_of(plan)
    assert at(trace, "battery_a", 0.0) == pytest.approx(40.0 * 0.005 / 0.2, rel=0.01)
    ratio = at(trace, "battery_a", 720.0) / at(trace, "battery_a", 0.0)
    assert ratio == pytest.approx(np.exp(-1.0), rel=0.01)


def test_kinetic_law_solves_its_own_equation():
    plan = plain_plan("kinetic")
    law = LAW_OF["kinetic"](
        *(np.array([v]) for v in (0.3, 0.05, 0.5, 0.5, 0.5, 0.18, 0.1)),
    )
    charge = law.start(np.array([1.0 - plan.cell.soc]))
    rate = law.rate(np.array([2.333]), charge, lambda missing: 2.15 - 0.2 * missing)
    limit = 0.2 / 0.3
    over = 2.333 - (2.15 - 0.2 * 0.2)
    left = over - rate * 0.05 - 0.012 * np.arcsinh(rate / 0.3) + 0.025 * np.log1p(-rate / limit)
    assert left == pytest.approx(0.0, abs=1e-4)


def test_shells_keep_their_charge_and_even_out():
    matrix, volumes = shell_exchange(), shell_volumes()
    assert volumes.sum() == pytest.approx(1.0)
    assert volumes @ matrix == pytest.approx(np.zeros(SHELLS), abs=1e-12)
    assert matrix @ np.ones(SHELLS) == pytest.approx(np.zeros(SHELLS), abs=1e-12)


def test_supply_limit_holds_and_pulls_the_voltage_down():
    plan = altered(plain_plan(soc=0.3), source={"limit_a": 45.0})
    trace = trace_of(plan)
    assert trace.battery_a[:20] == pytest.approx(np.full(20, 35.0))
    assert trace.bus_v[0] < 27.5
    assert trace.bus_v[-1] > trace.bus_v[0]


def test_doubling_time_and_turn_of_a_runaway():
    """The side current doubles in its time, and battery current is least where planned."""
    plan = plain_plan(doubling_s=240.0, turn_s=600.0)
    trace, calm = trace_of(plan), trace_of(plain_plan())
    extra = trace.battery_a - calm.battery_a
    for start_s in (300.0, 700.0):
        ratio = np.interp(start_s + 240.0, trace.time_s, extra) / np.interp(
            start_s, trace.time_s, extra
        )
        assert ratio == pytest.approx(2.0, rel=1e-6)
    assert truth_of(plan, trace).turn_s == pytest.approx(600.0, abs=30.0)
    assert trace.battery_temp_c[-1] > calm.battery_temp_c[-1] + 2.0


def test_a_shorted_cell_gasses_more_and_a_leak_shows_in_full():
    sound = trace_of(plain_plan(soc=0.99, side_per_h=0.004))
    short = trace_of(plain_plan(soc=0.99, side_per_h=0.004, lost_cells=1.0))
    leak = trace_of(plain_plan(soc=0.99, side_per_h=0.004, leak_a=3.0))
    side_a = [float(t.battery_a[0] - t.charging_a[0]) for t in (sound, short)]
    assert side_a[0] == pytest.approx(0.004 * 40.0, rel=0.1)
    # 28 V on eleven cells is 0.212 V more on each: exp(0.212 / 0.075) = 17 times, less in wires.
    assert 12.0 < side_a[1] / side_a[0] < 17.0
    assert leak.battery_a[-1] - sound.battery_a[-1] == pytest.approx(3.0, abs=0.1)


def test_side_current_doubles_in_nine_kelvin():
    cool = trace_of(plain_plan(soc=0.99, side_per_h=0.004))
    warm = trace_of(plain_plan(soc=0.99, side_per_h=0.004, temp_c=34.0, ambient_c=34.0))
    side = [float(t.battery_a[0] - t.charging_a[0]) for t in (cool, warm)]
    assert side[1] / side[0] == pytest.approx(2.0, rel=0.05)


def test_low_acceptance_and_bad_joint_take_little_though_far_down():
    sound = at(trace_of(plain_plan(soc=0.4)), "battery_a", 60.0)
    for fault in ({"accepts": 10.0}, {"joint_ohm": 0.6}):
        assert at(trace_of(plain_plan(soc=0.4, **fault)), "battery_a", 60.0) < 0.2 * sound


def test_history_is_charge_over_current_of_the_sound_battery():
    """Stiff wires and no shape: the time constant itself, whatever ails the battery now."""
    sick = plain_plan(tau_h=0.4, bend=1.0, ohm_vh=0.004, accepts=10.0, joint_ohm=1.0, temp_c=60.0)
    found = history_charge_times_h([sick])[0]
    assert 0.33 < found < 0.56


# --- what is read ----------------------------------------------------------------------------


def test_wander_has_its_spread_and_forgets():
    plan = replace(plain_plan(), bus=Bus(load_a=10.0, wander_sd_a=0.5, wander_s=60.0))
    plan = altered(plan, recording={"minutes": 600.0})
    wander = wander_a(plan, np.arange(0.0, 36000.0, 5.0))
    assert wander.std() == pytest.approx(0.5, rel=0.1)
    apart = np.corrcoef(wander[:-12], wander[12:])[0, 1]
    assert apart == pytest.approx(np.exp(-1.0), abs=0.12)


def test_clamps_show_what_they_hang_on():
    for case in cases("test", 4, [family("clamp on a dead lead"), family("clamp on one of three")]):
        true = np.interp(
            case.readings.elapsed_s, *_of(traces([case.plan])[0], "time_s", "battery_a")
        )
        share = 0.0 if "dead" in case.family else case.plan.recording.clamp_share
        shown = case.readings.battery_current_a - share * true
        assert np.abs(shown).max() < 0.6 + case.plan.recording.resolution_a


def _of(trace: Trace, *names: str) -> list[np.ndarray]:
    return [getattr(trace, name) for name in names]


def test_trip_reads_zero_and_battery_carries_the_bus():
    for case in cases("test", 4, [family("supply trips, full")]):
        starts, lasts = case.plan.source.trip
        elapsed = case.readings.elapsed_s
        off = (elapsed >= starts) & (elapsed < starts + lasts)
        assert off.any()
        assert (case.readings.supply_current_a[off] == 0.0).all()
        trace = traces([case.plan])[0]
        assert at(trace, "battery_a", starts + 10.0) < 0.0


def test_readings_are_whole_steps_of_the_meter(few):
    for case in few:
        step, slip = case.plan.recording.resolution_a, case.plan.recording.typing_slip
        if slip is None:
            steps = case.readings.supply_current_a / step
            assert steps == pytest.approx(np.round(steps), abs=1e-6)


def test_late_start_hides_what_flowed_before():
    for case in cases("test", 8, [family("late start, low")]):
        assert case.readings.elapsed_s[0] == 0.0
        assert 600.0 <= case.plan.recording.late_s <= 1800.0
        assert case.truth.soc < case.truth.soc_at_zero
        assert case.truth.top_off_is_dangerous


def test_growing_keeps_the_first_readings(few):
    case = next(c for c in few if c.plan.recording.events == "every")
    grown = growing(case, case.plan.recording.minutes / 2.0).readings
    kept = len(grown)
    assert 0 < kept < len(case.readings)
    assert (grown.supply_current_a == case.readings.supply_current_a[:kept]).all()
    assert len(grown.events) == kept


# --- truth -----------------------------------------------------------------------------------

FAR_DOWN = {"soc": 0.74}
NEARLY_FULL = {"soc": 0.95}
TRUTHS = [
    ({"soc": 0.76}, ("sound",), False, (), False),
    (FAR_DOWN, ("sound",), True, (), False),
    (NEARLY_FULL, ("sound",), False, (), True),
    (NEARLY_FULL | {"is_open": True}, ("nothing_charging",), True, (), False),
    (NEARLY_FULL | {"leak_a": 1.0}, ("leak_or_gassing",), True, (), False),
    (NEARLY_FULL | {"lost_cells": 1.0}, ("shorted_cell", "leak_or_gassing"), True, (), False),
    (NEARLY_FULL | {"accepts": 6.0}, ("accepts_little",), True, (), False),
    (NEARLY_FULL | {"joint_ohm": 0.5}, ("accepts_little",), False, (), False),
    (FAR_DOWN | {"joint_ohm": 0.5}, ("accepts_little",), True, (), False),
    (NEARLY_FULL | {"capacity_ah": 20.0}, ("worn",), True, ("capacity",), False),
    (FAR_DOWN | {"capacity_ah": 20.0}, ("worn",), True, (), False),
    (NEARLY_FULL | {"capacity_ah": 33.0}, ("sound",), False, (), True),
    (NEARLY_FULL | {"temp_c": 60.0}, ("overheating",), True, ("temperature",), False),
    (
        NEARLY_FULL | {"doubling_s": 200.0, "turn_s": 300.0},
        ("overheating", "leak_or_gassing"),
        True,
        (),
        False,
    ),
]


@pytest.mark.parametrize(("cell", "names", "dangerous", "excused", "needless"), TRUTHS)
def test_truth_of_a_battery(cell, names, dangerous, excused, needless):
    plan = plain_plan(**cell)
    truth = truth_of(plan, trace_of(plan))
    assert truth.names == names
    assert truth.top_off_is_dangerous is dangerous
    assert truth.excused_by == excused
    assert truth.service_is_needless is needless


def test_heat_is_no_excuse_where_it_was_read_or_the_battery_is_nicd():
    read = altered(plain_plan(soc=0.95, temp_c=60.0), recording={"temperature": "column"})
    nicd = plain_plan(chemistry=Chemistry.NICD, soc=0.95, temp_c=60.0)
    for plan in (read, nicd):
        assert truth_of(plan, trace_of(plan)).excused_by == ()


def test_cold_lithium_must_not_be_charged_and_cold_lead_acid_may():
    for chemistry, dangerous in ((Chemistry.LFP, True), (VRLA, False)):
        plan = plain_plan(chemistry=chemistry, soc=0.95, temp_c=-5.0, ambient_c=-5.0)
        truth = truth_of(plan, trace_of(plan))
        assert truth.top_off_is_dangerous is dangerous
        assert truth.excused_by == (("temperature",) if dangerous else ())
        told = altered(plan, recording={"temperature": "ambient"})
        assert truth_of(told, trace_of(told)).excused_by == ()


def test_a_battery_that_feeds_the_bus_charges_nothing():
    for case in cases("test", 6, [family("battery feeds the bus")]):
        gives = -traces([case.plan])[0].battery_a[10:]
        assert (gives > 0.3).all()
        assert (gives < 8.0).all()
        assert case.truth.names == ("nothing_charging",)
        assert not case.truth.disconnect_is_false


def test_disconnect_is_false_only_without_fault_and_heat():
    def false_for(**cell: object) -> bool:
        plan = plain_plan(**cell)
        return truth_of(plan, trace_of(plan)).disconnect_is_false

    assert false_for(soc=0.3)
    assert false_for(accepts=8.0)
    for fault in ({"is_open": True}, {"temp_c": 55.0}, {"leak_a": 2.0}, {"joint_ohm": 1.0}):
        assert not false_for(**fault)


@pytest.mark.long
def test_families_keep_their_promise(few):
    """Truth of whole families follows from their names."""
    for case in few:
        name, truth = case.family, case.truth
        if "low" in name.split(", ") or name in ("sulfated", "bad joint", "nothing charging"):
            assert truth.top_off_is_dangerous, name
            assert not truth.excused_by, name
        if name.startswith("full, "):
            assert truth.soc >= 0.90
            assert truth.service_is_needless
        if name in ("load wanders", "fan drifts up", "unmarked step", "motors"):
            assert not truth.top_off_is_dangerous
            assert truth.disconnect_is_false
        if name.startswith("runaway"):
            trace = traces([case.plan])[0]
            least_a, late_a = (at(trace, "battery_a", s) for s in (truth.turn_s, case.plan.end_s))
            assert late_a > least_a + 0.3, name
            assert 0.0 < truth.turn_s < 60.0 * case.plan.recording.minutes - 240.0, name
            assert "overheating" in truth.names


def test_every_charging_law_is_used_by_every_kind(few):
    seen = {(case.chemistry, case.plan.cell.law) for case in cases("calibration", 20, FAMILIES[:1])}
    assert len(seen) == 20


# --- repeatable ------------------------------------------------------------------------------


def test_same_seed_same_cases_and_more_of_them_change_none():
    chosen = FAMILIES[::9]
    first, again = cases("test", 2, chosen), cases("test", 2, chosen)
    more = [c for k, c in enumerate(cases("test", 5, chosen)) if k % 5 < 2]
    assert len(first) == len(more) == 2 * len(chosen)
    for a, b, c in zip(first, again, more, strict=True):
        assert a.readings == b.readings == c.readings
        assert a.battery == b.battery == c.battery
        assert a.keywords == b.keywords == c.keywords


def test_halves_share_no_battery():
    batteries = [{case.plan.cell.tau_h for case in cases(half, 3, FAMILIES[:6])} for half in SEEDS]
    assert len(set.union(*batteries)) == sum(map(len, batteries))


# --- scores and measured tapers --------------------------------------------------------------


def _score(outcome: str, **truth: object) -> Score:
    case = cases("test", 1, FAMILIES[:1])[0]
    plain: Truth = replace(case.truth, top_off_is_dangerous=True, excused_by=("capacity",))
    return Score(replace(case, truth=replace(plain, **truth)), outcome)


def test_a_dangerous_top_off_is_excused_only_by_the_check_it_needs():
    silent = _score("top_off")
    assert silent.dangerous
    assert not silent.excused
    named = replace(silent, not_checked=("capacity", "voltage"))
    assert named.excused
    assert not named.dangerous
    assert replace(silent, not_checked=("temperature",)).dangerous
    assert replace(_score("top_off", excused_by=()), not_checked=("capacity",)).dangerous
    assert not _score("keep_watching").dangerous


def test_naming_counts_the_first_two_and_only_where_something_is_named():
    score = _score("service", names=("worn",))
    assert score.names_it is None
    assert replace(score, named=("sound", "worn", "shorted_cell")).names_it
    assert replace(score, named=("sound", "shorted_cell", "worn")).names_it is False


def test_minutes_to_disconnect_are_counted_from_the_turn(monkeypatch):
    case = cases("test", 1, [family("runaway, NiCd")])[0]
    turn_min = case.truth.turn_s / 60.0

    def answer(grown: Case) -> Score:
        late = grown.readings.elapsed_s[-1] / 60.0 > turn_min + 2.5
        return Score(grown, "disconnect" if late else "keep_watching")

    monkeypatch.setattr("tests.benchmarks.sickbay.scores.scored", answer)
    assert 3.0 <= minutes_to_disconnect(case) <= 4.0


def test_measured_tapers_return_what_the_record_says():
    """Integral of the thinned current against the charge the source counted (within 1 %)."""
    for taper in measured_tapers():
        assert charge_after_ah(taper, 0.0) == pytest.approx(taper.returned_ah, rel=0.01)


def test_measured_windows_hold_the_current_on_both_meters():
    found = taper_cases()
    assert len(found) == 24
    for case in found:
        least, most = case.charge_to_return_ah
        assert 0.0 <= least < most < case.taper.returned_ah
        if case.clamp:
            load = case.readings.supply_current_a - case.readings.battery_current_a
            assert load == pytest.approx(np.full(load.size, 8.0))
        else:
            assert case.readings.battery_current_a is None


def test_runner_prints_a_row_for_each_family_and_totals(capsys):
    assert (
        main(["--only", "nothing charging", "--per-family", "2", "--no-growing", "--markdown"]) == 0
    )
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("| family | n | top off |")
    assert lines[2].startswith("| nothing charging | 2 |")
    assert any(line.startswith("dangerous top-offs: ") and " of 2 " in line for line in lines)
    with pytest.raises(SystemExit):
        main(["--only", "no such family"])
