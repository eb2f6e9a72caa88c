"""Pins: what a job fixes of its set-ups, and what it may not."""

from pathlib import Path

import pytest

from geom.errors import JobError
from geom.model.part import Part
from geom.recognise.part import recognise
from geom.settings.load import load_settings
from geom.settings.pins import check_pins, up_of
from geom.settings.records import Settings
from geom.toml.pins import NO_PINS, Pin, Pins
from tests.catalogue import block_in_block, drilled_plate
from tests.job_folders import write_job


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A 60 x 40 x 30 block, 3 mm all round, as a job folder."""
    return write_job(tmp_path_factory.mktemp("pins") / "block", block_in_block())


@pytest.fixture(scope="module")
def block() -> Part:
    finished, casting = block_in_block()
    return recognise("block", "grey iron", finished, casting)


def said(folder: Path, text: str) -> Settings:
    """Return the settings of the block's job with some set-up tables."""
    job = folder / "pinned.toml"
    job.write_text((folder / "job.toml").read_text() + text)
    return load_settings(job)


def refused(folder: Path, part: Part, text: str) -> str:
    with pytest.raises(JobError) as found:
        check_pins(part, said(folder, text))
    message = str(found.value)
    assert "\n" not in message
    assert message.count(". ") <= 1
    return message


# --- what is read -----------------------------------------------------------


def test_a_pin_is_read_in_shop_words(folder: Path) -> None:
    """Every key of a pin, lengths in the job's unit or with their own: 1 in is 25.4 mm."""
    text = """
[[setups.pin]]
number = 1
up = "top"
hold = "vise"
seat = "bottom"
fixed_jaw = "back"
clamp = "front"
parallels = "1 in"
features = ["top", "left"]
cutter = "16 mm end mill"
skew = -0.35
"""
    pin = said(folder, text).setups.of(1)

    assert pin is not None
    assert (pin.up, pin.hold, pin.seat, pin.fixed_jaw, pin.clamp) == ("top", "vise", "bottom", "back", "front")
    assert (pin.parallels, pin.features, pin.cutter, pin.skew) == (25.4, ("top", "left"), "16 mm end mill", -0.35)
    assert pin.at("seat").endswith("pinned.toml line 12, setups.pin.1.seat")


def test_a_job_without_pins_leaves_all_to_the_planner(folder: Path) -> None:
    """Nothing is pinned unless the job says so, and nothing is what false means."""
    assert load_settings(folder).setups == NO_PINS
    assert not NO_PINS


def test_pins_come_in_the_order_of_their_set_ups() -> None:
    """Written in any order; a feature is looked up by its set-up."""
    pins = Pins((Pin(2, features=("hole 1",)), Pin(1, features=("top",))))

    assert [pin.number for pin in pins.pins] == [1, 2]
    assert (pins.number_of("hole 1"), pins.number_of("top"), pins.number_of("left")) == (2, 1, None)


@pytest.mark.parametrize(("way", "up"), [("top", (0, 0, 1)), ("-x", (-1, 0, 0)), ("+Y", (0, 1, 0))])
def test_up_is_a_face_or_an_axis_of_the_part(block: Part, way: str, up: tuple[int, int, int]) -> None:
    """The top of an upright block faces +Z."""
    assert up_of(Pin(1, up=way), block) == up


def test_a_seat_alone_says_what_is_up(block: Part) -> None:
    """Whatever lies opposite the seat."""
    assert up_of(Pin(1, seat="left"), block) == (1, 0, 0)
    assert up_of(Pin(1), block) is None


# --- what is refused --------------------------------------------------------

ONE = "\n[[setups.pin]]\nnumber = 1\n"

REFUSALS = {
    "a face the part does not have": (
        ONE + 'seat = "botom"\n',
        ("line 10", "setups.pin.1.seat", '"botom"', 'did you mean "bottom"'),
    ),
    "a feature the part does not have": (ONE + 'features = ["top", "bore 7"]\n', ("line 10", "setups.pin.1.features", '"bore 7"')),
    "a cutter the shop does not have": (
        ONE + 'cutter = "16.5 mm end mill"\n',
        ("line 10", "setups.pin.1.cutter", '"16.5 mm end mill"', 'did you mean "16 mm end mill"'),
    ),
    "a key that is not there": (ONE + 'jaw = "left"\n', ("line 10", "setups.pin.1.jaw")),
    "a list that is no list": ("\n[setups.pin]\nnumber = 1\n", ("line 8", "setups.pin", "[[setups.pin]]")),
    "another key in setups": ("\n[setups]\npins = []\n", ("line 9", "setups.pins", "pin")),
    "no number": ('\n[[setups.pin]]\nup = "top"\n', ("line 8", "number")),
    "set-up nought": ("\n[[setups.pin]]\nnumber = 0\n", ("line 9", "setups.pin.1.number", "at least 1")),
    "the same feature in two set-ups": (
        ONE + 'features = ["top"]\n\n[[setups.pin]]\nnumber = 2\nfeatures = ["top"]\n',
        ("line 14", "setups.pin.2.features", '"top"', "set-up 1", "line 10"),
    ),
    "two pins of one set-up": (ONE + ONE, ("line 12", "setups.pin.2.number", "already pinned", "line 9")),
    "seat and fixed jaw the same": (
        ONE + 'seat = "left"\nfixed_jaw = "left"\n',
        ("line 11", "setups.pin.1.fixed_jaw", '"left"', "the seat"),
    ),
    "fixed jaw and clamp the same": (ONE + 'fixed_jaw = "left"\nclamp = "left"\n', ("line 11", "setups.pin.1.clamp")),
    "up against seat": (ONE + 'up = "top"\nseat = "left"\n', ("line 11", "setups.pin.1.seat", "does not look down", '"bottom"')),
    "up is the seat": (ONE + 'up = "top"\nseat = "top"\n', ("line 11", "setups.pin.1.seat", '"top"')),
    "a jaw on a level face": (ONE + 'up = "top"\nfixed_jaw = "bottom"\n', ("line 11", "fixed_jaw", "does not stand upright")),
    "a seat that is machined in the same set-up": (
        ONE + 'seat = "bottom"\nfeatures = ["bottom"]\n',
        ("line 11", "setups.pin.1.features", '"bottom"', "is the seat"),
    ),
    "a feature twice": (ONE + 'features = ["top", "top"]\n', ("line 10", "setups.pin.1.features", "twice")),
    "parallels the shop does not have": (
        ONE + 'hold = "vise"\nparallels = 21.3\n',
        ("line 11", "setups.pin.1.parallels", "21.3 mm", "assumed shop"),
    ),
    "a holding of no shop": (ONE + 'hold = "glue"\n', ("line 10", "setups.pin.1.hold", "vise, table, angle plate")),
    "work turned by half": (ONE + "skew = 45\n", ("line 10", "setups.pin.1.skew", "at most 10")),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_a_wrong_pin_is_refused_with_its_line_and_key(folder: Path, block: Part, case: str) -> None:
    """One paragraph: file, line, key, the value, what is known or what to do."""
    text, words = REFUSALS[case]
    message = refused(folder, block, text)

    assert "pinned.toml" in message
    assert [word for word in words if word not in message] == []


def test_a_face_that_stays_as_cast_is_made_in_no_set_up(tmp_path: Path) -> None:
    """The plate is machined on top only."""
    finished, casting = drilled_plate()
    part = recognise("plate", "grey iron", finished, casting)
    job = write_job(tmp_path / "plate", drilled_plate(), ONE + 'features = ["left"]\n')

    with pytest.raises(JobError, match='"left" stays as cast'):
        check_pins(part, load_settings(job))


def test_an_angle_plate_that_is_not_owned_holds_nothing(folder: Path, block: Part) -> None:
    """A shop without angle plate and table clamps says so, with the key that would own them."""
    shop = "\n[shop.vise]\njaw_width = 100\njaw_height = 40\nopening = 110\nbed_height = 50\ntable_clamps = false\n"

    assert "[shop.vise]" in refused(folder, block, shop + ONE + 'hold = "angle plate"\n')
    assert "table_clamps" in refused(folder, block, shop + ONE + 'hold = "table"\n')
