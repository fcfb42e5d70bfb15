"""The two colour sets of the screens: grey, with colour for what needs attention.

Meanings after IEC 60073: red for danger, yellow for what is abnormal, blue for what a person is
asked to do. The three differ in lightness as well as in hue, so that they can be told apart by
people who do not tell red from green; nothing is said by colour alone.
"""

from __future__ import annotations

from textual.theme import Theme

DARK = Theme(
    name="slate",
    primary="#5b7d9c",
    secondary="#8c98a4",
    accent="#7db4e6",
    warning="#e3c04d",
    error="#ec6a50",
    success="#a9b4ad",  # normal is grey: nothing is asked of anybody
    foreground="#d3d6d9",
    background="#16181b",
    surface="#1d2024",
    panel="#2a2e33",
    dark=True,
    variables={
        "text-muted": "#969da5",
        "scrollbar": "#454b52",
        "scrollbar-background": "#1d2024",
        "scrollbar-background-hover": "#1d2024",
        "scrollbar-background-active": "#1d2024",
        "scrollbar-corner-color": "#1d2024",
    },
)

LIGHT = Theme(
    name="paper",
    primary="#3d5f80",
    secondary="#5b646d",
    accent="#1b5c98",
    warning="#8a6200",
    error="#b3301b",
    success="#4f5a53",
    foreground="#1f2225",
    background="#e9eaeb",
    surface="#f3f4f4",
    panel="#d9dbdd",
    dark=False,
    variables={
        "text-muted": "#5a6269",
        "scrollbar": "#a7adb3",
        "scrollbar-background": "#e2e4e5",
        "scrollbar-background-hover": "#e2e4e5",
        "scrollbar-background-active": "#e2e4e5",
        "scrollbar-corner-color": "#e2e4e5",
    },
)
