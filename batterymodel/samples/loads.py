"""Invented aircraft with their consumers and tasks, and the supply of a hangar with its circuit.

They play at Saltmarsh Field, a place that does not exist; every figure is own choice, invented, and
of no type of aircraft. `samples.connections` writes them beside the connections.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task, read_aircraft_loads
from batterymodel.inputs.records import Cable, Supply, read_supply, record_toml

SAID_BY, SAID_ON = "R. Marsh (invented)", date(2026, 2, 27)

HANGAR_SUPPLY = Supply(
    name="Hangar supply",
    rated_current_a=60.0,
    set_voltage_v=28.0,
    voltage_tolerance_v=0.3,
    input_voltage_v=120.0,
    input_current_full_load_a=17.5,
    circuit_breaker_a=15.0,
    rated_at_c=40.0,
    derating_a_per_c=1.0,
    cable=Cable(length_m=6.0, gauge_awg=4, contacts_ohm=0.003),
)
"""On a wall circuit that is too small for all it could give."""

LIGHT_SINGLE = AircraftLoads(
    tail="DEMO-1",
    document="Invented flight manual DEMO-FM-1, section 7",
    said_by=SAID_BY,
    on=SAID_ON,
    bus_min_v=24.0,
    bus_max_v=29.0,
    start_reserve_fraction=0.6,
    consumers=(
        Consumer(name="Clock and memory", continuous_a=0.3, may_switch_off=False),
        Consumer(name="Avionics fan", continuous_a=1.2, may_switch_off=False),
        Consumer(name="Flight displays", continuous_a=7.5),
        Consumer(name="Avionics", continuous_a=9.5),
        Consumer(name="Autopilot", continuous_a=2.5),
        Consumer(name="Panel lights", continuous_a=1.8),
        Consumer(name="Cabin lights", continuous_a=2.2),
        Consumer(name="Navigation lights", continuous_a=4.0),
        Consumer(name="Strobe lights", continuous_a=4.5),
        Consumer(name="Landing light", continuous_a=3.5),
        Consumer(name="Pitot heat", continuous_a=9.0, duty=0.2, note="a minute at most on ground"),
        Consumer(name="Fuel pump", continuous_a=5.0, starting_a=18.0, starting_s=0.4, duty=0.1),
        Consumer(
            name="Hydraulic pump", continuous_a=22.0, starting_a=80.0, starting_s=0.4, duty=0.2
        ),
        Consumer(name="Cabin blower", continuous_a=14.0, starting_a=30.0, starting_s=0.6),
        Consumer(name="Tablet charger", continuous_a=2.0),
    ),
    tasks=(
        Task(
            name="Database update",
            minutes=45.0,
            needs=("Flight displays", "Avionics"),
            wants=("Cabin lights", "Tablet charger"),
        ),
        Task(
            name="Panel training",
            minutes=240.0,
            needs=("Flight displays", "Avionics", "Autopilot"),
            wants=("Panel lights", "Cabin blower", "Cabin lights", "Tablet charger"),
        ),
        Task(
            name="Pre-flight with lights",
            minutes=15.0,
            needs=("Flight displays", "Avionics", "Fuel pump", "Navigation lights"),
            wants=("Landing light", "Strobe lights", "Pitot heat", "Cabin lights"),
        ),
        Task(
            name="Hydraulic check",
            minutes=30.0,
            needs=("Hydraulic pump", "Panel lights"),
            wants=("Flight displays", "Cabin lights", "Cabin blower"),
        ),
    ),
)
"""A light aircraft with one engine and the battery of DEMO-1."""

LIGHT_TWIN = AircraftLoads(
    tail="DEMO-7",
    document="Invented flight manual DEMO-FM-7, section 7",
    said_by=SAID_BY,
    on=SAID_ON,
    bus_min_v=23.0,
    start_reserve_fraction=0.7,
    consumers=(
        Consumer(name="Standby instruments", continuous_a=1.0, may_switch_off=False),
        Consumer(name="Avionics fans", continuous_a=2.4, may_switch_off=False),
        Consumer(name="Flight displays", continuous_a=13.0),
        Consumer(name="Radios and navigation", continuous_a=11.0),
        Consumer(name="Autopilot", continuous_a=4.0),
        Consumer(name="Cabin and panel lights", continuous_a=5.5),
        Consumer(name="Outside lights", continuous_a=12.0),
        Consumer(
            name="Left boost pump", continuous_a=7.0, starting_a=24.0, starting_s=0.4, duty=0.2
        ),
        Consumer(
            name="Right boost pump", continuous_a=7.0, starting_a=24.0, starting_s=0.4, duty=0.2
        ),
        Consumer(
            name="Gear hydraulic pump",
            continuous_a=48.0,
            starting_a=140.0,
            starting_s=0.5,
            duty=0.1,
        ),
        Consumer(name="Vent blower", continuous_a=12.0, starting_a=26.0),
    ),
    tasks=(
        Task(
            name="Database update",
            minutes=60.0,
            needs=("Flight displays", "Radios and navigation"),
            wants=("Cabin and panel lights", "Vent blower"),
        ),
        Task(
            name="Fuel system check",
            minutes=20.0,
            needs=("Left boost pump", "Right boost pump", "Cabin and panel lights"),
            wants=("Flight displays", "Vent blower"),
        ),
        Task(
            name="Gear swing",
            minutes=30.0,
            needs=("Gear hydraulic pump", "Cabin and panel lights"),
            wants=("Vent blower",),
        ),
    ),
)
"""A light aircraft with two engines, a pump too large for the hangar's circuit, and the
nickel-cadmium battery of DEMO-7."""

LOADS_FILES = {"demo-1-loads.toml": LIGHT_SINGLE, "demo-7-loads.toml": LIGHT_TWIN}
SUPPLY_FILE = "hangar-supply.toml"

_HEAD = "# Invented, at Saltmarsh Field (invented): every figure is own choice, of no real aircraft"


def load_ground_power(folder: Path) -> tuple[tuple[AircraftLoads, ...], Supply]:
    """Aircraft and hangar supply from a sample folder.

    Parameters
    ----------
    folder : Path
        As `write_load_samples` fills it, `samples.connections.SAMPLE_FOLDER`.

    Returns
    -------
    aircraft : tuple of AircraftLoads
        Those whose files are there.
    supply : Supply
        Of this module where no file is there.

    Raises
    ------
    InputError
        A file in it that cannot be used.
    """
    paths = [folder / name for name in LOADS_FILES]
    aircraft = tuple(read_aircraft_loads(path) for path in paths if path.is_file())
    supply = folder / SUPPLY_FILE
    return aircraft, read_supply(supply) if supply.is_file() else HANGAR_SUPPLY


def write_load_samples(folder: Path) -> None:
    """Write aircraft and hangar supply into a folder; the same bytes each time.

    Parameters
    ----------
    folder : Path
        There already; files of the same names are overwritten.

    Raises
    ------
    OSError
        A folder that cannot be written to.
    """
    for name, record in (*LOADS_FILES.items(), (SUPPLY_FILE, HANGAR_SUPPLY)):
        (folder / name).write_text(f"{_HEAD}\n{record_toml(record)}", encoding="utf-8")
