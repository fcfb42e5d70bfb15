"""A zone that cannot be brought to a state is not called safe in it."""

from __future__ import annotations

from verification_bench import changed, shipped

from pneumo.report.text import summary
from pneumo.verification.campaign import Campaign
from pneumo.verification.verdict import Verification


def verified(campaign: Campaign, untested: tuple[str, ...]) -> Verification:
    results = [result for job in campaign.jobs()[:4] for result in campaign.run(job)]
    cases = tuple(result.case for result in results)
    return Verification("d", "r", "", cases, (), untested, (), "1")


def test_jaws_too_weak_to_open_are_not_called_safe() -> None:
    weak = changed("02_spring_close_single", ("area: 300 cm2", "area: 3 cm2"))
    campaign = Campaign(weak)
    untested = campaign.untested()
    assert len(untested) == 1
    assert "commanded open and was faulted (open time exceeded)" in untested[0]
    result = verified(campaign, untested)
    assert all(case.worst == "safe" for case in result.cases), "the springs hold it closed"
    assert not result.all_safe
    assert summary(result).startswith("NOT TESTED: Zone block")


def test_a_sound_zone_is_tested_in_every_state() -> None:
    assert Campaign(shipped("02_spring_close_single")).untested() == ()
