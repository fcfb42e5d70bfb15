"""A drill: briefing, work, finding, repair, function test, hand back, debrief."""
