"""The shipped printing conditions are usable as they stand."""

from hotfolder.colour.condition import DEFAULT, PROFILES, SHIPPED
from hotfolder.colour.profile import check_output_profile


def test_each_shipped_condition_has_a_sound_profile_with_its_licence_beside_it() -> None:
    told = (PROFILES / "README.md").read_text() + (PROFILES / "COPYRIGHT").read_text()
    for name, condition in SHIPPED.items():
        assert name == condition.name
        assert check_output_profile(condition.profile).digest
        assert told.count(condition.profile.name) >= 2
        assert condition.profile.stat().st_size < 2**20


def test_no_profile_lies_there_that_no_one_speaks_of() -> None:
    used = {condition.profile.name for condition in SHIPPED.values()} | {"srgb.icc"}
    assert {path.name for path in PROFILES.glob("*.icc")} == used


def test_the_ink_limits() -> None:
    assert {name: condition.ink_limit for name, condition in SHIPPED.items()} == {
        "coated_europe": 300,
        "coated_us": 320,
        "uncoated": 300,
    }
    assert DEFAULT in SHIPPED
