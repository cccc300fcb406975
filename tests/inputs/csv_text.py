"""CSV texts and helpers that the tests of `batterymodel.inputs.readings` share."""

import re

from batterymodel.inputs.readings import (
    readings_from_bytes,
)

HEADER = "elapsed_s,supply_current_a\n"
PLAIN = HEADER + "0,30\n10,25\n20,22.5\n"
FULL = (
    "elapsed_s,supply_current_a,supply_voltage_v,battery_current_a,battery_temp_c,load_a,event\n"
    "0,30.5,28.1,20.5,21,10,\n"
    "10,25.5,28.2,,21.5,10,pump on\n"
    "20,22.5,28.3,12.5,22,10,\n"
)


def read(text):
    return readings_from_bytes(text.encode(), "log.csv")


def assert_one_sentence(message, *parts):
    assert message.startswith("log.csv: ")
    assert message.isprintable()
    assert not message.endswith(".")
    assert not re.search(r"[.!?] ", message)
    for part in parts:
        assert part in message
