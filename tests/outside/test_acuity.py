"""The height of letters that can be made out from afar, against published figures of eye charts."""

import pytest

from hotfolder.loading import load_plugins
from hotfolder.units import INCH, MM

STEPS = load_plugins().steps  # makes the plugins' folders known

FOOT = 12 * INCH
# Distance, height of the letter of normal sight: Snellen chart, 8.87 mm at 20 ft, ten times that for the topmost letter
# (20/200) seen from 200 ft (encyclopedic articles on the Snellen chart); 26 mm at 60 ft (American Academy of
# Ophthalmology, "Snellen letters"); 8.73 mm at 6 m (from memory, charts in metres).
PUBLISHED = [(20 * FOOT, 8.87, 0.005), (200 * FOOT, 88.7, 0.05), (60 * FOOT, 26, 0.7), (6000 * MM, 8.73, 0.005)]


@pytest.mark.parametrize(("distance", "height", "rounding"), PUBLISHED)
def test_letters_of_normal_sight(distance: float, height: float, rounding: float) -> None:
    from hotfolder_plugins.check_fonts.reading import OF_DISTANCE

    assert distance * OF_DISTANCE / MM == pytest.approx(height, abs=rounding)
