"""Pictures of faults along a cable show what the bench reads, and say it in words."""

from __future__ import annotations

import pytest

from lessonkit.draw.cables import break_picture, touch_picture
from lessonkit.errors import BadParameter
from lessonkit.job.toml import demo_job


def lines(picture: object) -> dict[str, tuple[list[float], list[float]]]:
    """Return the labelled lines of a picture, as drawn."""
    (ax,) = picture.figure.axes  # type: ignore[attr-defined]
    return {
        line.get_label(): (list(line.get_xdata()), list(line.get_ydata()))
        for line in ax.get_lines()
        if not line.get_label().startswith("_")
    }


def test_a_break_s_two_readings_are_straight_and_mirror_each_other() -> None:
    """The near reading grows with the metres, the far one shrinks, and together they stay the same."""
    drawn = lines(break_picture("net-loft", "outdoor", "Y2"))
    (metres, near), (_, far) = drawn["read at the near end"], drawn["read at the far end"]
    assert near == pytest.approx(far[::-1], rel=1e-3)
    assert [n + f for n, f in zip(near, far, strict=True)] == pytest.approx([near[0] + far[0]] * 9, rel=1e-3)
    assert [n / m for n, m in zip(near, metres, strict=True)] == pytest.approx(
        [near[0] / metres[0]] * 9, rel=1e-3
    )


@pytest.mark.parametrize("at", [0.3, 0.7])
def test_a_touch_s_own_ohms_move_one_estimate_and_not_the_other(at: float) -> None:
    """From both ends the place stays; from one end half an ohm of 18 AWG is 12 m."""
    picture = touch_picture("net-loft", "outdoor", "D", "O", at)
    drawn = lines(picture)
    ohms, both = drawn["from both ends"]
    _, one = drawn["from the near end alone"]
    assert both == pytest.approx([at * 32] * len(ohms), rel=0.01)
    assert one[0] == pytest.approx(at * 32, rel=0.01)
    assert one[ohms.index(0.5)] - one[0] == pytest.approx(0.5 / 0.0419, rel=0.01)
    assert f"{at * 32:.1f} m of 32 m" in picture.words


def test_a_job_of_one_s_own_is_drawn_and_an_unknown_run_refused() -> None:
    """A `Job` serves as well as a name, and a run that there isn't is named."""
    job = demo_job("net-loft").with_run("outdoor", length_m=10.0)
    assert "1.0 m" in break_picture(job, "outdoor", "O").words
    for draw in (lambda: break_picture(job, "attic", "O"), lambda: touch_picture(job, "attic", "O", "D")):
        with pytest.raises(BadParameter, match="one of thermostat, outdoor"):
            draw()
