"""What ``follow`` does: looks again and again, and prints what is new."""

from __future__ import annotations

import argparse
import json
import time
from typing import Any

from batterymodel.commands.told import assessed, told_supply
from batterymodel.commands.told_log import told_guess
from batterymodel.errors import InputError
from batterymodel.inputs.records import Readings, read_battery
from batterymodel.rules.results import Assessment
from batterymodel.say.connection import text_report
from batterymodel.say.followed import Answer, FollowedLog
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
        battery = read_battery(options.battery)
        told_supply(options)
        self.log = FollowedLog(
            options.log,
            lambda content: told_guess(content, options).column_map,
            lambda readings: assessed(readings, battery, options),
            told=bool(options.column or options.decimal),
        )

    @property
    def last(self) -> tuple[Readings, Assessment] | None:
        """The last answer; None before the first."""
        return self.log.last

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
            raise InputError(self.log.message or f"{self.options.log}: no whole line came")

    def last_words(self) -> str:
        """The last outcome, as a line.

        Returns
        -------
        str
            JSON where that was asked for; empty before the first answer.
        """
        return last_line(*self.last, as_json=self.options.json) if self.last else ""

    def _look(self, first: bool = False) -> bool:
        """Look once and print what is new; whether anything changed."""
        news = self.log.look(first)
        for said in news.said:
            self._print_answer(said) if isinstance(said, Answer) else self._print_message(said)
        return news.changed

    def _print_answer(self, answer: Answer) -> None:
        readings, result = answer.readings, answer.result
        if self.options.json:
            _print_json(answer_json(readings, result, answer.changed))
            return
        print(answer_line(readings, result), flush=True)
        if answer.changed:
            print(f"\n{text_report(result)}\n", flush=True)

    def _print_message(self, message: str) -> None:
        _print_json({"message": message}) if self.options.json else print(message, flush=True)


def _print_json(said: dict[str, Any]) -> None:
    print(json.dumps(said, ensure_ascii=False), flush=True)
