"""Sensor maps are read from TOML and CSV and refuse, by name, whatever cannot be."""

from dataclasses import replace

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.instruments import Channel, Point, Section, Zone, read_map, sensor_map
from frame2d.instruments.scales import factor_of

TOML = """
name = "beam"
balanced = true
specimen = ["beam", "column B"]
[places.left]
kind = "section"
member = "beam"
at = 1.0
spacing = 0.3
fy = 355e6
[places.right]
kind = "section"
member = "beam"
at = 4.0
spacing = 0.3
fy = 355e6
[places.hinge]
kind = "zone"
device = "beam: start hinge"
member = "beam"
at = 0.3
sections = ["left", "right"]
[channels.G1]
kind = "strain"
place = "left"
face = "top"
unit = "µε"
sign = 1
gain = 1.02
[channels.G2]
kind = "strain"
place = "left"
face = "bottom"
unit = "µm/m"
sign = -1
[channels.G3]
kind = "strain"
place = "right"
face = "top"
unit = "mm/m"
sign = 1
[channels.G4]
kind = "strain"
place = "right"
face = "bottom"
unit = "µε"
sign = 1
noise = 2
"""

CHANNELS = """name,kind,place,face,unit,sign,gain,noise
G1,strain,left,top,µε,1,1.02,
G2,strain,left,bottom,µm/m,-1,,
G3,strain,right,top,mm/m,1,,
G4,strain,right,bottom,µε,1,,2
"""

PLACES = """name,kind,member,at,spacing,fy,device,sections
left,section,beam,1.0,0.3,355e6,,
right,section,beam,4.0,0.3,355e6,,
hinge,zone,beam,0.3,,,beam: start hinge,left;right
"""


def write(folder, name, text):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_toml_and_csv_give_the_same_map(frame, tmp_path):
    """The same map from either kind of file has the same places and channels."""
    a = read_map(write(tmp_path, "map.toml", TOML), frame)
    b = read_map(
        write(tmp_path, "beam.csv", CHANNELS), frame, write(tmp_path, "places.csv", PLACES),
        specimen=["beam", "column B"],
    )  # fmt: skip
    assert a == b
    assert a.channels["G1"].gain == 1.02 and a.channels["G2"].sign == -1 and a.name == "beam"
    assert "G3" in a.summary() and "right, top" in a.summary()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('member = "beam"\nat = 1.0', 'member = "beem"\nat = 1.0', "did you mean 'beam'"),
        ("at = 1.0", "at = 5.2", r"at is 5.2; allowed: a number in \[0.3, 4.7\]"),
        ("at = 1.0", "at = 1000", "in mm"),
        ("spacing = 0.3", "spacing = 300", "smells of mm"),
        ("fy = 355e6", "fy = 355", "a strength in MPa"),
        ("fy = 355e6\n[places.right]", "[places.right]", "'left' lacks fy"),
        ("gain = 1.02", "gain = -1.0", "has sign -1"),
        ("sign = -1", "sign = 2", "sign is 2; allowed: 1 or -1"),
        ('unit = "mm/m"\nsign = 1', 'unit = "mm/m"', "'G3' lacks sign"),
        ('unit = "mm/m"', 'unit = "mm"', "unit is 'mm'"),
        ('unit = "mm/m"', "unit = 3", "unit is 3; allowed: text"),
        ('face = "top"\nunit = "µε"', 'face = "left"\nunit = "µε"', "allowed: top or bottom"),
        ('face = "bottom"\nunit = "µm/m"', 'face = "top"\nunit = "µm/m"', "are both the strain of 'left'"),
        ('place = "right"\nface = "bottom"', 'place = "hinge"\nface = "bottom"', "allowed: at a section"),
        ("[channels.G4]", "[channels.G3]", "is not TOML"),
        ("noise = 2", "nois = 2", "did you mean 'noise'"),
        ("noise = 2", "noise = true", "allowed: a number"),
        ("beam: start hinge", "beam: start hing", "did you mean 'beam: start hinge'"),
        ('sections = ["left", "right"]', 'sections = ["left"]', "two gauge sections"),
        ('sections = ["left", "right"]', 'sections = "left"', "a list of names"),
        ('kind = "zone"', 'kind = "zones"', "did you mean 'zone'"),
        ('specimen = ["beam", "column B"]', 'specimen = ["beam", "col B"]', "did you mean 'column B'"),
        ("balanced = true", "balance = true", "did you mean 'balanced'"),
    ],
)
def test_a_map_that_cannot_be_says_why(frame, tmp_path, old, new, message):
    """Each mistake in a file is named with what is allowed."""
    assert old in TOML
    with pytest.raises(InputError, match=message):
        read_map(write(tmp_path, "map.toml", TOML.replace(old, new, 1)), frame)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("name,kind,place", "nam,kind,place", "no column 'name'"),
        ("G2,strain", "G1,strain", "line 3: name is 'G1'"),
        ("G4,strain,right", "G4,strain,right,right", "line 5: 9 cells; allowed: 8"),
        ("top,mm/m,1", "top,mm/m,one", "sign is 'one'; allowed: a number"),
    ],
)
def test_a_table_that_cannot_be_says_where(frame, tmp_path, old, new, message):
    """Mistakes in a CSV table are named with their line."""
    places = write(tmp_path, "places.csv", PLACES)
    with pytest.raises(InputError, match=message):
        read_map(write(tmp_path, "c.csv", CHANNELS.replace(old, new, 1)), frame, places)


def test_files_that_are_not_there(frame, tmp_path):
    """Missing and empty files, and a CSV without its places, are said in words."""
    with pytest.raises(InputError, match="can't be read"):
        read_map(tmp_path / "none.toml", frame)
    with pytest.raises(InputError, match="table of their places"):
        read_map(write(tmp_path, "c.csv", CHANNELS), frame)
    with pytest.raises(InputError, match="is empty"):
        read_map(write(tmp_path, "e.csv", "name\n"), frame, write(tmp_path, "p.csv", PLACES))


def test_a_pair_needs_two(sensors):
    """A section with one gauge, a zone with one transducer and a panel with one diagonal are refused."""
    for lost, what in (
        ("SG01", "section 'A low' has 1 strain"),
        ("LT2", "zone 'left hinge' has 1"),
        ("D1", "panel"),
    ):
        kept = [channel for name, channel in sensors.channels.items() if name != lost]
        with pytest.raises(InputError, match=what):
            sensor_map(sensors.frame, sensors.places.values(), kept)


def test_names_stand_once(frame):
    """A place or channel that stands twice is refused."""
    point = Point("p", "A1")
    with pytest.raises(InputError, match="place 'p' stands twice"):
        sensor_map(frame, [point, point], [])
    with pytest.raises(InputError, match="has no channels"):
        sensor_map(frame, [point], [])


def test_a_zone_is_bridged_by_its_transducers(sensors):
    """Transducers beside the zone, or an arm in mm, are refused."""
    zone = sensors.places["left hinge"]
    for change, message in (({"start": 0.4}, "must bridge the zone"), ({"arm": 350.0}, "smells of mm")):
        places = {**sensors.places, "left hinge": replace(zone, **change)}
        with pytest.raises(InputError, match=message):
            sensor_map(sensors.frame, places.values(), sensors.channels.values())


def test_loads_along_a_member_need_balanced_gauges(frame, sensors):
    """A loaded member has no linear moment: the map must be balanced."""
    from copy import copy

    loaded = copy(frame)
    loaded.member_loads = []
    loaded.member_load("beam", qy=-1e4)
    places, channels = sensors.places.values(), sensors.channels.values()
    assert sensor_map(loaded, places, channels, balanced=True)
    with pytest.raises(InputError, match="not linear; allowed: balanced"):
        sensor_map(loaded, places, channels, balanced=False)


def test_readings_become_si_and_back():
    """Value = sign · gain · (reading − offset) · unit, and back."""
    point = Point("p", "A1")
    channel = Channel("c", "displacement", "p", "mm", sign=-1, gain=1.5, offset=2.0)
    assert channel.to_si(np.array([4.0]), point) == pytest.approx([-3e-3])
    assert channel.to_raw(channel.to_si(np.array([4.0]), point), point) == pytest.approx([4.0])
    channel = replace(channel, noise=0.3, resolution=np.sqrt(12.0) * 0.4)
    assert channel.random(point) == pytest.approx(0.5 * 1.5e-3)
    assert factor_of("u", "kN · m".replace(" ", ""), "moment") == 1e3
    assert factor_of("u", "\u03bc\u03b5", "strain") == 1e-6
    assert Channel("r", "displacement", "p", "mrad").dimension(Point("p", "A1", "rz")) == "angle"


def test_faces_are_as_one_sees_them(frame):
    """The left face of a column is its local +y side going up, and its −y side going down."""
    from copy import copy

    from frame2d.instruments.places import face_sign

    other = copy(frame)
    other.members = dict(frame.members)
    other.member("down", "B1", "A0", frame.members["column B"].member)
    assert face_sign(frame, "column A", "left", "x") == 1.0
    assert face_sign(frame, "beam", "top", "x") == 1.0
    assert face_sign(other, "down", "left", "x") == -1.0


def test_bars_are_no_beams(frame):
    """A section on a brace, and a zone on it, say what fits there."""
    with pytest.raises(InputError, match="a place of kind 'bar'"):
        sensor_map(
            frame, [Section("s", "brace", 1.0, 0.1, 355e6)], [Channel("c", "strain", "s", "µε", face="top")]
        )
    assert Zone("z", "d", "m", 0.0, ("a", "b")).arm == 0.0
