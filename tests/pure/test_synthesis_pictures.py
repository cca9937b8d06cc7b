"""Every subject can be painted, on either format, with tones and detail of its own."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
from pathlib import Path

import numpy as np
import pytest
import tifffile

from imaging_requests.imaging import synthesis
from imaging_requests.imaging.synthesis import (
    Attribute,
    PaintingSpec,
    Subject,
    Support,
    build_painting,
    usual_px_per_mm,
)
from imaging_requests.imaging.synthesis.colour import luminance

NARROW_TONES = {Subject.MARBLING, Subject.GRISAILLE}


@pytest.mark.parametrize("subject", list(Subject))
@pytest.mark.parametrize(("width", "height"), [(260.0, 190.0), (170.0, 260.0)])
def test_every_subject_fills_its_face(subject: Subject, width: float, height: float) -> None:
    spec = PaintingSpec(
        seed=3, width_mm=width, height_mm=height, subject=subject, support=Support.COPPER
    )
    front = build_painting(spec, px_per_mm=0.8).front
    for name in ("paint", "height_mm", "infrared", "fluorescence", "x_ray", "varnish", "dirt"):
        assert np.isfinite(getattr(front, name)).all(), name
    assert front.paint.min() >= 0
    assert front.paint.max() <= 1
    tones = np.sqrt(luminance(front.paint))
    low, high = np.percentile(tones, (2, 98))
    assert high - low > (0.12 if subject in NARROW_TONES else 0.25)


@pytest.mark.parametrize("attribute", list(Attribute))
def test_every_attribute_changes_the_picture_it_is_held_in(attribute: Attribute) -> None:
    def paint(held: Attribute | None) -> np.ndarray:
        spec = PaintingSpec(
            seed=12,
            width_mm=200,
            height_mm=260,
            subject=Subject.PORTRAIT_MAN,
            attribute=held,
            support=Support.COPPER,
        )
        return np.asarray(build_painting(spec, px_per_mm=1.0).front.paint)

    gap = np.abs(paint(attribute) - paint(None)).max(2)
    assert (gap > 0.05).mean() > 0.003


def test_other_seeds_give_other_pictures() -> None:
    paints = [
        build_painting(
            PaintingSpec(seed=seed, width_mm=200, height_mm=160, subject=Subject.SEASCAPE),
            px_per_mm=1.0,
        ).front.paint
        for seed in (1, 2)
    ]
    assert np.abs(paints[0] - paints[1]).mean() > 0.02


@pytest.mark.parametrize(("width", "height"), [(180.0, 240.0), (740.0, 920.0), (3900.0, 2650.0)])
def test_the_usual_density_keeps_to_about_a_million_pixels(width: float, height: float) -> None:
    spec = PaintingSpec(seed=1, width_mm=width, height_mm=height)
    pixels = usual_px_per_mm(spec) ** 2 * width * height
    assert pixels <= 1.2e6 + 1


def test_examples_in_the_documentation_run() -> None:
    names = [
        module.name
        for module in pkgutil.walk_packages(synthesis.__path__, synthesis.__name__ + ".")
    ]
    assert len(names) > 40
    tried = 0
    for name in [synthesis.__name__, *names]:
        result = doctest.testmod(importlib.import_module(name))
        assert result.failed == 0, name
        tried += result.attempted
    assert tried >= 20


def test_the_example_of_the_manual_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    manual = Path(__file__).parents[2] / "docs" / "synthetic-pictures.md"
    example = manual.read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "manual", "exec"), {})
    with tifffile.TiffFile(tmp_path / "BAY0001.tif") as file:
        assert file.asarray().shape == (735, 938, 3)


@pytest.mark.parametrize("name", ["subject", "attribute", "support"])
def test_names_from_data_files_are_understood_or_refused(name: str) -> None:
    values = {"subject": "banner", "attribute": "lamp", "support": "panel"}
    spec = PaintingSpec(seed=1, width_mm=100, height_mm=100, **{name: values[name]})  # type: ignore[arg-type]
    assert type(getattr(spec, name)) in (Subject, Attribute, Support)
    with pytest.raises(ValueError, match="not a valid"):
        PaintingSpec(seed=1, width_mm=100, height_mm=100, **{name: "nonsense"})  # type: ignore[arg-type]
