"""Whatever is read, there is an answer in words, and soon: a share of the campaign.

`pytest -m campaign tests/campaigns` runs a sixtieth of it, or the share that the environment
variable BELLCRANK_CAMPAIGN asks for; `python tests/campaigns/hostile.py` runs it in full.
"""

from __future__ import annotations

import pytest
from campaigns.hostile import (
    IN_FULL,
    MEMORY,
    SECONDS,
    SORTS,
    Found,
    campaign,
    report,
    run,
    share_wanted,
)

SHARE = 0.002
"""What is run with the other tests."""

SHARE_IN_CAMPAIGNS = 1 / 60


def holds(found: Found) -> None:
    assert not found.bad, "\n\n".join(found.bad[:3])
    assert found.slowest < SECONDS
    assert found.megabytes < MEMORY / 1_000_000


@pytest.mark.parametrize("sort", SORTS)
def test_a_few_of_each_sort_of_hostile_input_are_answered_in_words(sort: str) -> None:
    count = max(30, round(IN_FULL[sort] * SHARE))
    # From behind the cases of the campaign, so that these are others.
    found = run(sort, IN_FULL[sort], count)
    assert found.ends.total() == count
    assert len(found.ends) > 1
    holds(found)


@pytest.mark.campaign
def test_a_share_of_the_campaign_of_hostile_input_is_answered_in_words() -> None:
    results = campaign(share_wanted(SHARE_IN_CAMPAIGNS))
    print(report(results))
    for found in results.values():
        holds(found)


def test_the_campaign_finds_what_raises_and_what_never_ends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def raises(_: object) -> str:
        raise KeyError("a mistake of ours")

    def goes_on(_: object) -> str:
        while True:
            pass

    monkeypatch.setattr("campaigns.hostile.SECONDS", 0.2)
    for wrong, name in ((raises, "KeyError"), (goes_on, "TakesTooLongError")):
        monkeypatch.setitem(SORTS, "layouts", wrong)
        found = run("layouts", 0, 1)
        assert found.ends == {"BAD": 1}
        assert name in found.bad[0] and found.bad[0].startswith("layouts 0")
