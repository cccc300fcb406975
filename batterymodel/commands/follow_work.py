"""What ``follow`` does: looks, assesses, and says what is new."""

from __future__ import annotations

import argparse
import json
import time
from typing import Any

from batterymodel.commands.growing import GrowingLog, Growth
from batterymodel.commands.told import assessed
from batterymodel.commands.told_log import told_guess
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.foreign import readings_from_foreign
from batterymodel.inputs.log_columns import ColumnsInDoubtError, LogColumns
from batterymodel.inputs.readings import FORMAT
from batterymodel.inputs.records import Readings, read_battery, read_supply
from batterymodel.inputs.remarks import Remarks
from batterymodel.rules.results import Assessment
from batterymodel.say.connection import text_report
from batterymodel.say.following import answer_json, answer_line, last_line


class Follower:
    """One log that is followed; ``last`` is its last answer.

    Parameters
    ----------
    options : Namespace
        Those of the command.

    Raises
    ------
    InputError
        The battery's or the supply's file cannot be used.
    """

    def __init__(self, options: argparse.Namespace) -> None:
        """Reads what must be right from the start."""
        self.options = options
        self.battery = read_battery(options.battery)
        if options.supply:
            read_supply(options.supply)
        self.log = GrowingLog(options.log, Remarks(options.log, FORMAT))
        self.last: tuple[Readings, Assessment] | None = None
        self._columns = LogColumns(
            options.log,
            lambda content: told_guess(content, options).column_map,
            self._tell_once,
            told=bool(options.column or options.decimal),
        )
        self._shown_outcome: str | None = None
        self._message = ""

    def follow(self) -> None:
        """Look at the log until it has been quiet for as long as was told.

        Raises
        ------
        InputError
            No log at the start, columns that a person must tell, or no answer in the end.
        """
        self._look(first=True)
        quiet_s, since = self.options.until_quiet, time.monotonic()
        while quiet_s is None or time.monotonic() - since < quiet_s:
            left_s = self.options.every if quiet_s is None else since + quiet_s - time.monotonic()
            time.sleep(max(min(self.options.every, left_s), 0.0))
            if self._look():
                since = time.monotonic()
        if self.last is None:
            raise InputError(self._message or f"{self.options.log}: no whole line came")

    def last_words(self) -> str:
        """The last outcome, as a line.

        Returns
        -------
        str
            JSON where that was asked for; empty before the first answer.
        """
        return last_line(*self.last, as_json=self.options.json) if self.last else ""

    def _look(self, first: bool = False) -> bool:
        """Look once; whether anything changed."""
        try:
            growth = self.log.growth()
        except InputError as error:
            if first:
                raise
            self._tell_once(f"{error}; waiting for it")
            return False
        if growth is None:
            return False
        if growth.anew:
            self._begin_anew()
        self._answer(growth)
        return True

    def _begin_anew(self) -> None:
        self._columns.begin_anew()
        self._shown_outcome = None
        self._tell_once(f"{self.options.log}: was cut or replaced; it is read anew from its start")

    def _answer(self, growth: Growth) -> None:
        try:
            content, anew = self._columns.of_last_run(growth.content)
            if anew:
                self.last = self._shown_outcome = None
            column_map = self._columns.settled(content)
            readings = readings_from_foreign(content, self.options.log, column_map)
            result = assessed(readings, self.battery, self.options)
        except ColumnsInDoubtError:
            raise
        except BatteryModelError as error:
            self._tell_once(*(f"no answer yet: {fault}" for fault in error.faults))
            return
        self._message = ""
        self.last = readings, result
        self._say(readings, result)

    def _say(self, readings: Readings, result: Assessment) -> None:
        changed = result.outcome != self._shown_outcome
        self._shown_outcome = result.outcome
        if self.options.json:
            self._print(answer_json(readings, result, changed))
            return
        print(answer_line(readings, result), flush=True)
        if changed:
            print(f"\n{text_report(result)}\n", flush=True)

    def _tell_once(self, *messages: str) -> None:
        """Say it, unless it was the last thing said."""
        if (together := "\n".join(messages)) != self._message:
            self._message = together
            for message in messages:
                self._print({"message": message}) if self.options.json else print(
                    message, flush=True
                )

    def _print(self, said: dict[str, Any]) -> None:
        print(json.dumps(said, ensure_ascii=False), flush=True)
