"""What the score says at every count: true with few, with hits, misses or truths unsure alone."""

from __future__ import annotations

import re

import pytest

from batterymodel.inputs.records import Chemistry
from batterymodel.say import track_record as said
from batterymodel.track.score import TruthFrom, record_of, tally_of
from tests.track.test_score import case

HIT, MISS, UNSURE_SD = 4.0, 20.0, 4.0
COUNTS = (1, 2, 8, 9, 30, 99, 100)


def record(hits=0, misses=0, unsure=0):
    truths = [MISS] * misses + [HIT] * hits
    told = [case(truth, k) for k, truth in enumerate(truths)]
    return record_of([*told, *(case(HIT, 500 + k, sd=UNSURE_SD) for k in range(unsure))], ())


def every_sentence(found):
    return said.score_text(found)


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("sort", ["hits", "misses", "unsure"])
def test_nothing_reads_wrong_at_any_count(count, sort):
    text = every_sentence(record(**{sort: count}))
    assert not re.search(r"\b1 (ranges|cases|truths|outcomes|points)\b", text)
    assert not re.search(
        r"\b(?!1 )(\d+ )(range|case|truth|outcome) ", text.replace("90 % range", "")
    )
    assert " of 100" not in text or f"{count} of 100" in text or "0 of 100" in text
    shares = re.findall(r"[\d.]+ %", text)
    assert bool(shares) is (count >= 9 and sort != "unsure")


def test_one_case_is_said_as_one():
    found = record(hits=1)
    assert said.headline(found) == (
        "1 range checked so far: it held the truth. How often they hold is told from 9 on."
    )
    assert said.widening_sentences(found) == (
        "Valve-regulated lead-acid: 1 case so far; whether ranges must be wider is looked at from "
        "9 on.",
    )
    [line] = [said.tally_words(tally_of("all", found.present))]
    assert line == "all: 1 of 1 held the truth; off by 0.0 points of charge"


@pytest.mark.parametrize(
    ("hits", "misses", "words"),
    [
        (0, 1, "1 range checked so far: it missed the truth."),
        (2, 0, "2 ranges checked so far: both held the truth."),
        (0, 2, "2 ranges checked so far: none of them held the truth."),
        (3, 1, "4 ranges checked so far: 3 held the truth, 1 missed it."),
        (8, 0, "8 ranges checked so far: all of them held the truth."),
        (9, 0, "Of 9 ranges that could be checked, 9 held the truth: 100 %, where 90 % should."),
        (0, 9, "Of 9 ranges that could be checked, 0 held the truth: 0 %, where 90 % should."),
        (299, 1, "299 held the truth: 99.7 %, where"),
    ],
)
def test_the_headline(hits, misses, words):
    assert words in said.headline(record(hits, misses))


@pytest.mark.parametrize(
    ("hits", "misses", "words"),
    [
        (8, 0, "8 cases so far; whether ranges must be wider is looked at from 9 on."),
        (9, 0, "none of 9 ranges missed the truth. Ranges stay as they are; whether they may be"),
        (8, 1, "1 of 9 ranges missed, no more than chance explains. Ranges stay"),
        (98, 1, "1 of 99 ranges missed, no more than chance explains. Ranges stay"),
        (90, 10, "10 of 100 ranges missed, no more than chance explains. Ranges stay as they are."),
        (0, 9, "9 of 9 ranges missed as the estimate alone gives them. Ranges are therefore wider"),
    ],
)
def test_what_follows(hits, misses, words):
    [line] = said.widening_sentences(record(hits, misses))
    assert words in line


def test_the_box_is_silent_below_nine():
    assert said.standing_line(record(hits=8), Chemistry.VRLA) is None
    assert said.standing_line(record(hits=9), Chemistry.VRLA).endswith(
        "9 of the last 9 ranges held the truth."
    )


def test_truths_left_unscored_are_counted_and_explained():
    found = record(hits=2, unsure=3)
    assert said.about_sentences(found) == (
        "3 of 5 truths were left unscored (3 by the end of the taper): less sure than the range, "
        "so that a miss and a hit look alike.",
    )
    assert said.headline(record(unsure=1)) == said.NO_RANGE_SURE
    [alone] = said.about_sentences(record(unsure=1))
    assert alone.startswith("1 of 1 truth was left unscored (1 by")


def test_rest_voltages_left_unscored_say_what_would_help():
    from dataclasses import replace

    unsure = case(HIT, sd=UNSURE_SD)
    found = record_of([unsure, replace(unsure, truth_from=TruthFrom.REST)], ())
    assert found.unsure_by == {TruthFrom.TAPER: 1, TruthFrom.REST: 1}
    [line] = said.about_sentences(found)
    assert "(1 by the end of the taper, 1 by the voltage at rest after)" in line
    assert line.endswith(said.REST_HELPS)


def test_ranges_of_another_version_alone_are_not_none_at_all():
    found = record_of([case(HIT, made_by="0")], ())
    assert said.headline(found) == said.NO_RANGE_OF_THIS
    assert said.headline(record_of([], ())) == said.NOTHING_YET
