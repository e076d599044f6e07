"""The report: self-contained, complete, every number in the summary, rebuilt from stored results."""

import json
import re
import shutil
from html.parser import HTMLParser

import numpy as np
import pytest

from frame2d.cli import main
from frame2d.errors import InputError
from frame2d.report import build_report, read_summary, write_summary
from frame2d.report.contents import check, plain
from frame2d.report.numbers import number, percent, printed
from frame2d.report.scene import packed, read_scene, scene, unpacked, write_scene
from frame2d.report.svg import Panel, Series, figure, thinned, ticks


class Reader(HTMLParser):
    """Tags that are open, pictures, anchors and links of a page."""

    VOID = ("meta", "img", "input", "link", "br", "rect", "circle", "path")

    def __init__(self):
        super().__init__()
        self.open, self.pictures, self.ids, self.links, self.addresses = [], [], set(), [], []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.ids.add(found.get("id"))
        if tag == "img" or (tag == "svg"):
            self.pictures.append((tag, found))
        if tag == "a":
            self.links.append(found["href"])
        self.addresses += [found[k] for k in ("src", "href") if k in found]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in self.VOID:
            assert self.open.pop() == tag


@pytest.fixture(scope="module")
def read(folder):
    reader = Reader()
    reader.feed((folder / "report.html").read_text(encoding="utf-8"))
    return reader


def test_the_page_is_whole_and_stands_alone(read, folder):
    """Tags close, nothing but the page itself is addressed, and text from the summary is escaped."""
    assert read.open == []
    assert all(address.startswith(("data:", "#")) for address in read.addresses)
    text = (folder / "report.html").read_text(encoding="utf-8")
    assert "replaced &amp; &lt;nothing&gt; else" in text
    outside = set(re.findall(r"https?://[^\s\"'<>)]+", text)) - {"http://www.w3.org/2000/svg"}
    assert outside == set()
    assert not (folder / ".report.html.part").exists()


def test_every_picture_says_what_it_shows(read):
    """Each image and each chart has an alternative text of some length."""
    assert len(read.pictures) > 15
    for tag, attributes in read.pictures:
        words = attributes.get("alt") if tag == "img" else attributes.get("aria-label")
        assert words is not None and len(words) > 8, attributes


def test_the_contents_lead_to_sections_that_are_there(read):
    """Every link of the contents has its target; sections without data do not appear."""
    assert {"#glance", "#job", "#limit-states", "#at-dl", "#replacements", "#checksums"} <= set(read.links)
    assert all(link[1:] in read.ids for link in read.links)
    assert "#rehearsal" not in read.links and "#fits" not in read.links


def test_the_summary_carries_the_numbers_of_the_report(folder):
    """Peaks, residuals, verdicts, indices and the replacement log that are printed are those of summary.json."""
    summary = json.loads((folder / "summary.json").read_text())
    text = re.sub(r"<svg.*?</svg>", "", (folder / "report.html").read_text(encoding="utf-8"), flags=re.S)
    for entry in summary["limit_states"]:
        assert number(entry["peak_base_shear_N"] / 1e3) in text
        assert percent(max(entry["peak_drift"].values())) in text
        rows = {row["name"]: row for row in entry["comparison"][0]["rows"]}
        assert f"{percent(rows['nrmse_range']['value'])} %" in text
        for finding in entry["inspection"]["findings"]:
            assert set(finding) >= {"demand", "capacity", "use", "verdict", "definition", "unit"}
    swap = summary["limit_states"][1]["replacement"]["swaps"][0]
    shown, unit = printed(swap["locked_in"], "N·m", 3)
    assert f"{shown}\u00a0{unit}" in text
    assert summary["schema"] == "frame2d/report/1" and summary["seconds"]["all"] == 1.5
    assert "exceeded" in text and "Miner" in text


def test_comparison_is_of_test_against_reference(campaign, folder):
    """The stored index is what the comparison of the two histories gives."""
    from frame2d.compare import nrmse

    _, _, (tests, references) = campaign
    entry = read_summary(folder)["limit_states"][0]
    rows = {row["name"]: row["value"] for row in entry["comparison"][0]["rows"]}
    expected = nrmse(references[0].measured.roof, tests[0].measured.roof, "range").value
    assert rows["nrmse_range"] == pytest.approx(expected) and expected > 0.0
    assert entry["files"]["measured"] == "campaign/1_dl/measured.h5"


def test_the_report_is_built_again_from_stored_results(folder, tmp_path, capsys):
    """`frame2d report DIR` on a copy of the folder writes the same page, to the last byte."""
    copy = tmp_path / "moved"
    shutil.copytree(folder, copy)
    (copy / "report.html").unlink()
    assert main(["report", str(copy)]) == 0
    assert "report.html" in capsys.readouterr().out
    assert (copy / "report.html").read_bytes() == (folder / "report.html").read_bytes()
    assert main(["report", str(copy), "--to", str(tmp_path / "else.html")]) == 0
    assert (tmp_path / "else.html").is_file()


def test_changed_and_missing_files_are_told(folder, tmp_path):
    """A file that is not what the summary states is named in the report; a history that is needed is an error."""
    copy = tmp_path / "moved"
    shutil.copytree(folder, copy)
    (copy / "campaign" / "1_dl" / "result.json").write_text("{}")
    build_report(copy)
    assert "campaign/1_dl/result.json (changed)" in (copy / "report.html").read_text(encoding="utf-8")
    (copy / "campaign" / "1_dl" / "measured.h5").unlink()
    with pytest.raises(InputError, match=r"measured.h5.*moved, or never written"):
        build_report(copy)


def test_bad_folders_and_summaries_are_refused(tmp_path, capsys):
    """No summary, another schema, no title, unknown entries, ragged tables, pictures without words: each is named."""
    assert main(["report", str(tmp_path)]) == 1
    assert "holds no summary.json" in capsys.readouterr().err
    (tmp_path / "summary.json").write_text('{"schema": "other", "title": "x"}')
    with pytest.raises(InputError, match="has schema"):
        read_summary(tmp_path)
    (tmp_path / "summary.json").write_text("{")
    with pytest.raises(InputError, match="not JSON"):
        read_summary(tmp_path)
    for bad, words in (
        ({}, "title"),
        ({"title": "t", "job": {"texts": []}}, "did you mean 'text'"),
        ({"title": "t", "job": []}, "allowed: an object"),
        (
            {"title": "t", "job": {"tables": [{"caption": "c", "columns": ["a"], "rows": [[1, 2]]}]}},
            "row of 2 cells",
        ),
        ({"title": "t", "job": {"pictures": [{"file": "a.png", "caption": "c"}]}}, "lacks 'alt'"),
        ({"title": "t", "limit_states": [{}]}, "lacks its name"),
    ):
        with pytest.raises(InputError, match=words):
            check(bad)
    write_summary(
        tmp_path, {"title": "t", "job": {"pictures": [{"file": "../x.png", "caption": "c", "alt": "a"}]}}
    )
    with pytest.raises(InputError, match="outside the folder"):
        build_report(tmp_path)


def test_an_almost_empty_summary_is_a_report(tmp_path):
    """A title is enough; cautions are always there."""
    write_summary(tmp_path, {"title": "Nothing yet", "job": {"text": ["To be done."]}})
    text = build_report(tmp_path).read_text(encoding="utf-8")
    assert "never replace" in text and "interlocks" in text and "To be done." in text


def test_what_json_cannot_hold_becomes_null():
    """Arrays become lists, numbers that do not exist become null."""
    assert plain({"a": np.array([1.0, np.nan]), "b": np.float64("inf"), 3: (1, None)}) == {
        "a": [1.0, None], "b": None, "3": [1, None],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "0"), (1234.4, "1234"), (12345.6, "12\u202f346"), (-0.012345, "−0.01235"), (1.5e-7, "1.5 × 10⁻⁷"),
        (None, "–"), (float("nan"), "–"), (True, "yes"), (7, "7"), (1234567, "1\u202f234\u202f567"), (0.1, "0.1"),
        (2.5e9, "2.5 × 10⁹"),
    ],
)  # fmt: skip
def test_numbers_read_well(value, shown):
    """Four significant digits, no trailing zeros, thin spaces, a true minus, powers of ten where they are shorter."""
    assert number(value).replace("2.50", "2.5").replace("1.50", "1.5") == shown


def test_units_of_print():
    """Newtons, metres, radians and joules are printed in thousands or thousandths."""
    assert printed(1500.0, "N") == ("1.5", "kN") and printed(0.002, "rad") == ("2", "mrad")
    assert printed(None, "J") == ("–", "J") and printed(0.5, "-") == ("0.5", "–")


def test_ticks_are_round_and_inside():
    """Steps are 1, 2 or 5 times a power of ten, between 2 and 11 of them."""
    for low, high in ((0.0, 1.0), (-393.0, 401.0), (1e-6, 3.7e-6), (-50.0, 12.0)):
        found = ticks(low, high)
        assert 2 <= found.size <= 11 and found[0] >= low - 1e-12 and found[-1] <= high + 1e-12
        step = np.diff(found)[0]
        assert round(step / 10.0 ** np.floor(np.log10(step) + 1e-9), 6) in (1.0, 2.0, 5.0)


def test_thinning_keeps_the_extremes():
    """A long line loses points and neither its ends nor its peaks."""
    t = np.linspace(0.0, 60.0, 20000)
    x, y = 10.0 * t, 50.0 * np.sin(t) + 0.2 * np.sin(40 * t)
    a, b = thinned(x, y)
    assert a.size < 9000 and b.max() == y.max() and b.min() == y.min() and a[0] == x[0] and a[-1] == x[-1]


def test_a_chart_survives_flat_and_broken_lines():
    """Constant series, missing numbers and names with markup give a valid picture."""
    import xml.etree.ElementTree as tree

    flat = Series(np.arange(3.0), np.zeros(3), "a < b & c")
    gap = Series(np.arange(3.0), np.array([1.0, np.nan, 2.0]), "gap", 1)
    tree.fromstring(figure([Panel([flat, gap], "x", "y", marks=[("y", 1.0, "limit")])], 'alt "quoted"'))


def test_animation_data_come_back(campaign, tmp_path):
    """Packed numbers are within 1/32000 of the largest; the scene holds every device and the last time."""
    _, _, (tests, _) = campaign
    values = np.random.default_rng(1).normal(size=500)
    text, step = packed(values)
    assert np.abs(unpacked(text, step) - values).max() <= 0.51 * step and step == np.abs(values).max() / 32000
    response = tests[0].response()
    data = read_scene(write_scene(response, tmp_path / "a.scene.json"))
    assert data["times"][-1] == pytest.approx(tests[0].measured.time[-1]) and len(data["devices"]) == len(
        tests[0].measured.devices
    )
    moves = unpacked(data["moves"], data["move_step"]).reshape(len(data["times"]), -1, 2)
    assert np.abs(moves[:, :, 0]).max() == pytest.approx(np.abs(tests[0].measured.roof).max(), rel=0.05)
    from frame2d.analysis import gravity

    with pytest.raises(InputError, match="allowed: a time history"):
        scene(gravity(response.system))
    (tmp_path / "b.json").write_text('{"format": "x"}')
    with pytest.raises(InputError, match="format"):
        read_scene(tmp_path / "b.json")
