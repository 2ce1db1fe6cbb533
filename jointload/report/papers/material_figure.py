"""A compression test with its fit, and what the material does under a heel beside others."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.insole.shape.compression import LayerFit
from jointload.insole.shape.cushioning import rest_heel
from jointload.insole.shape.materials import Material
from jointload.report.figures.paper import STYLE
from jointload.report.words.colours import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, SOFT = LIGHT["ink"], LIGHT["soft"]
WIDE_STYLE: Any = {**STYLE, "font.size": 9, "axes.grid": True, "lines.linewidth": 1.7}
"""Four axes on a page lying on its side."""
THICKNESSES = np.linspace(0.001, 0.012, 34)
"""Thicknesses that are compared [m]."""
LINES: tuple[tuple[str, Any], ...] = (
    ("#0b3c6f", "-"), ("#c4621a", (0, (5, 1.6))), ("#566365", (0, (1, 1.2))), ("#7a1028", (0, (7, 2, 1, 2))),
    ("#0b4f55", (0, (3, 1, 1, 1, 1, 1))), ("#8a6d00", (0, (10, 3))),
)  # fmt: skip
"""Colour and dash of each material; the tested one comes first."""


def draw_materials(fit: LayerFit, load: float, others: Sequence[Material], form: str = "svg") -> bytes:
    """Loop and fit; then peak pressure under a heel, height left and energy for each thickness at a load [N]."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with rc_context(WIDE_STYLE):
        figure = Figure(figsize=(11, 8))
        FigureCanvasAgg(figure)
        loop, pressure, height, energy = figure.subplots(2, 2).ravel()
        _loop(loop, fit)
        _compare((pressure, height, energy), (fit.material, *others[: len(LINES) - 1]), load)
        figure.suptitle(
            f"{fit.material.name} beside other layers under a heel, {load:.0f} N slowly applied: a comparison of "
            "materials, not one person's pressure", fontsize=9, color=SOFT,
        )  # fmt: skip
        handles, labels = pressure.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=4)
        out = io.BytesIO()
        figure.savefig(out, format=form, metadata={"Date": None, "Creator": None} if form == "svg" else None)
    return out.getvalue()


def _loop(axes: Axes, fit: LayerFit) -> None:
    test, material = fit.test, fit.material
    axes.plot(100 * test.strain[test.loading], test.stress[test.loading] / 1e3, ".", color=INK, markersize=3,
              label="loading")  # fmt: skip
    axes.plot(100 * test.strain[test.unloading], test.stress[test.unloading] / 1e3, "x", color=SOFT, markersize=3,
              label="unloading")  # fmt: skip
    strain = np.linspace(0, float(test.strain.max()), 300)
    axes.plot(100 * strain, material.pressure(strain) / 1e3, color=LINES[0][0], label="law fitted to the loading")
    if material.bottoming_strain < strain[-1]:
        axes.axvline(100 * material.bottoming_strain, color=SOFT, linestyle=":", linewidth=1)
        axes.text(100 * material.bottoming_strain, 0.16, "bottoms out ", transform=axes.get_xaxis_transform(),
                  rotation=90, ha="right", va="center", color=SOFT, fontsize=8)  # fmt: skip
    loss = "unknown" if np.isnan(material.energy_loss) else f"{100 * material.energy_loss:.0f} %"
    axes.set_title(
        f"Test: E {material.modulus / 1e6:.2f} MPa, e {material.stiffening_strain:.2f}, loss {loss}, "
        f"residual {100 * fit.rms_share:.1f} %"
    )
    axes.set(xlabel="compression [% of the thickness]", ylabel="stress [kPa]", ylim=(0, 1.05e-3 * test.stress.max()))
    axes.legend(loc="upper left")


def _compare(panels: tuple[Axes, Axes, Axes], materials: Sequence[Material], load: float) -> None:
    pressure, height, energy = panels
    mm = 1000 * THICKNESSES
    for (colour, dash), material in zip(LINES, materials, strict=False):
        rests = [rest_heel(material, float(t), load) for t in THICKNESSES]
        style: Any = {"color": colour, "linestyle": dash, "label": material.name.replace("_", " ")}
        peak = np.array([rest.peak_pressure for rest in rests]) / 1e3
        pressure.plot(mm, peak, **style)
        bottomed = np.array([rest.bottomed_out for rest in rests])
        pressure.plot(mm[bottomed][::4], peak[bottomed][::4], "v", color=colour, markersize=4)
        height.plot(mm, 1000 * np.array([rest.height_left for rest in rests]), **style)
        taken = [rest.work if np.isnan(rest.energy_lost) else rest.energy_lost for rest in rests]
        unknown = np.isnan(rests[0].energy_lost)
        energy.plot(mm, np.array(taken) / mm, **style, alpha=0.45 if unknown else 1.0)
        if unknown:
            energy.text(0.02, 0.04, "pale: loss unknown, all energy taken is shown", transform=energy.transAxes,
                        color=colour, fontsize=8)  # fmt: skip
    height.plot(mm, mm, color=SOFT, linewidth=0.7)
    height.text(mm[-1], mm[-1], "unloaded ", ha="right", va="bottom", color=SOFT, fontsize=8)
    pressure.set_title("Peak pressure under the heel (▼ bottomed out)")
    pressure.set_ylabel("peak pressure [kPa]")
    height.set_title("Stack height left under the heel's middle")
    height.set_ylabel("height under load [mm]")
    energy.set_title("Energy not returned, per mm of thickness")
    energy.set_ylabel("energy [J/mm]")
    for axes in panels:
        axes.set_xlabel("thickness [mm]")
        axes.set_xlim(0, mm[-1])
    for axes in (height, energy):
        axes.set_ylim(bottom=0)
