"""The colours of pages and figures by name: on white paper, and on a dark screen. Shape, dash and word carry meaning
beside colour, never colour alone; right and left have one colour each, which nothing else bears."""

from __future__ import annotations

LIGHT = {
    "ink": "#1d2526", "soft": "#566365", "line": "#cfd6d2", "paper": "#fbfaf6", "panel": "#f1efe7", "card": "#ffffff",
    "grid": "#e4e7e3", "faint": "#eef2ef", "accent": "#0b4f55", "on-accent": "#ffffff",
    "right": "#0b3c6f", "left": "#b0501a", "force": "#8c1f5c", "board": "#6b5a2b", "insole": "#4b2a6b",
    "first": "#2e6b34", "second": "#7d3a8c", "shade": "#efe3c4", "refuse": "#7a1028", "warn": "#7a4a00",
    "heat-1": "#efece2", "heat-2": "#ecd08a", "heat-3": "#dd9238", "heat-4": "#b24a1c", "heat-5": "#6b1226",
    "low-2": "#5e3c99", "low-1": "#b2abd2", "none": "#eceae6", "high-1": "#f2b65d", "high-2": "#b35806",
    "part-1": "#0b4f55", "part-2": "#d9be78", "part-3": "#7fb7be", "part-4": "#a98bbd", "part-5": "#8c6a4f",
}  # fmt: skip
DARK = {
    **LIGHT,
    "ink": "#e7eae5", "soft": "#a9b6b4", "line": "#3b4644", "paper": "#141a1b", "panel": "#1f2829", "card": "#1a2122",
    "grid": "#2b3534", "faint": "#232d2d", "accent": "#7ccbc6", "on-accent": "#10201f",
    "right": "#7fb5f2", "left": "#f2a263", "force": "#ee8cc6", "board": "#c9b57c", "insole": "#c0a3e8",
    "first": "#8fd08a", "second": "#d9a3e6", "shade": "#4a4127", "refuse": "#f79aab", "warn": "#f0b45e",
    "heat-1": "#2f3433", "heat-2": "#6a4a2a", "heat-3": "#b2662a", "heat-4": "#e8a04c", "heat-5": "#fbe3a4",
    "none": "#2f3433", "low-1": "#6f64a8", "low-2": "#b7a8ee", "high-1": "#9a6220", "high-2": "#f5b867",
    "part-1": "#7ccbc6", "part-2": "#8f7836", "part-3": "#3f7d86", "part-4": "#8a6aa3", "part-5": "#c59a78",
}  # fmt: skip


def colours_css() -> str:
    """Every colour as a variable of the page, light on paper, and a class `c-NAME` that draws in it."""
    light, dark = (";".join(f"--{name}:{code}" for name, code in each.items()) for each in (LIGHT, DARK))
    classes = "\n".join(f".c-{name}{{--c:var(--{name})}}" for name in LIGHT)
    return (
        f":root{{color-scheme:light;{light}}}\n"
        f"@media screen and (prefers-color-scheme: dark){{:root{{color-scheme:dark;{dark}}}}}\n{classes}\n"
    )
