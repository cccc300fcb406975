"""A small record for tests: one battery moved between two aircraft, one connection."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from batterymodel import Battery
from batterymodel.inputs.load_plan import AircraftLoads, Task
from batterymodel.inputs.load_plan import Consumer as PlannedConsumer
from batterymodel.inputs.records import Cable
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.store import Store
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.records import (
    Aircraft,
    BenchCheck,
    CardRevision,
    Consumer,
    LoadConfiguration,
    LoadPlan,
    Move,
    OwnerSheet,
    Servicing,
    ShopSupply,
    WallCircuit,
)

DAY = date(2026, 3, 2)
LOG = SAMPLE_FOLDER / "completed-taper.csv"
PLAN = AircraftLoads(
    tail="DEMO-2",
    consumers=(
        PlannedConsumer(name="Radio", continuous_a=3.0, readings=2, continuous_sd_a=0.25),
        PlannedConsumer(name="Pump", continuous_a=5.0, starting_a=14.0, may_switch_off=False),
    ),
    tasks=(Task(name="Database update", minutes=25.0, needs=("Radio",), wants=("Pump",)),),
    document="Load list, revision B",
    said_by="shift lead",
    on=date(2025, 6, 2),
    bus_min_v=24.5,
)
SUPPLY = ShopSupply(
    name="Cart 1",
    rated_current_a=60.0,
    input_voltage_v=120.0,
    input_current_full_load_a=17.5,
    cable=Cable(length_m=6.0, gauge_awg=2, contacts_ohm=0.002),
    circuits=(
        WallCircuit(name="Hangar east", circuit_breaker_a=20.0),
        WallCircuit(
            name="Shop",
            circuit_breaker_a=15.0,
            input_voltage_v=240.0,
            input_current_full_load_a=8.75,
        ),
    ),
    note="the one with\nthe long lead",
)
BARE = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)


@dataclass(frozen=True)
class Ids:
    """Entries of the small record."""

    aircraft: str
    other: str
    battery: str
    connection: str
    sheet: str


def small_record(store: Store) -> Ids:
    """Fill the store with every kind of entry."""
    with store.writing():
        return _written(store)


def _written(store: Store) -> Ids:
    aircraft = store.add(Aircraft(tail="DEMO-1")).id
    other = store.add(Aircraft(tail="DEMO-2", note="tied down\nby the fence")).id
    battery = add_battery(store, "B-1", BARE, date(2024, 1, 5)).id
    about = {"battery_id": battery}
    store.add(Move(aircraft_id=aircraft, on=date(2024, 1, 5), reason="new", **about))
    store.add(Move(aircraft_id=None, on=date(2025, 5, 1), reason="to the bench", **about))
    store.add(Move(aircraft_id=other, on=date(2025, 6, 1), reason="spare fitted", **about))
    card = {"document": "Manual, revision C", "min_top_off_soc": 0.8}
    store.add(CardRevision(on=date(2025, 6, 1), limits=card, reason="revision C came", **about))
    store.add(BenchCheck(on=date(2024, 5, 1), capacity_ah=39.5, **about))
    log = store.keep_file(b"raw\x00log\r\n\xff")
    bench = {"log_name": "bench.bin", "log_sha256": log, "note": "line one\nline two"}
    store.add(BenchCheck(on=date(2025, 5, 10), capacity_ah=37.25, minutes=55.9, **about, **bench))
    store.add(Servicing(on=date(2025, 5, 11), found="nothing_wrong", note="cleaned", **about))
    loads = (Consumer(name="Radio", continuous_a=3.0, peak_a=5.5),)
    store.add(LoadConfiguration(aircraft_id=other, name="Ramp", consumers=loads))
    store.add(LoadPlan(aircraft_id=other, on=date(2025, 6, 2), loads=PLAN))
    store.add(SUPPLY)
    chosen = {"on": DAY, "left_off": ("Pump",), "supply": "Cart 1", "answer": "fits"}
    said = {"document": PLAN.document, "said_by": PLAN.said_by, "said_on": PLAN.on}
    store.add(LoadConfiguration(aircraft_id=other, name="Ramp", consumers=loads, **chosen, **said))
    taken = add_connection(store, "B-1", LOG.read_bytes(), LOG.name, Told(on=DAY))
    content = store.keep_file(b"%PDF invented")
    sheet = OwnerSheet(
        connection_id=taken.entry.id,
        made_on=DAY,
        kind="after connection",
        file_name="a.pdf",
        content_sha256=content,
    )
    return Ids(aircraft, other, battery, taken.entry.id, store.add(sheet).id)


def write_logs(folder: Path, count: int, mark: bytes = b"") -> list[Path]:
    """CSV files that are quick to take in: too broken to be assessed, each of its own bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for k in range(count):
        path = folder / f"log-{k:04}.csv"
        path.write_bytes(b"\xff\x00" + mark + f"{folder.name},{k}\r\n".encode() * 40)
        paths.append(path)
    return paths
