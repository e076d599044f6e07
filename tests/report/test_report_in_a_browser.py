"""The report in a real browser: quiet console, no network, pictures, contents, moving animation, paper."""

import json

import pytest


@pytest.fixture
def opened(page, folder):
    """The report, opened from disk; every request is noted."""
    page.asked = []
    page.on("request", lambda request: page.asked.append(request.url))
    page.goto((folder / "report.html").as_uri())
    return page


def test_it_opens_without_errors_and_without_a_network(opened):
    """The console stays empty and nothing is asked for but the page and what is inside it."""
    assert opened.said == []
    assert [url for url in opened.asked if not url.startswith("data:")] == [opened.url]
    assert "Invented frame" in opened.title()


def test_pictures_are_loaded_and_nothing_sticks_out(opened):
    """Images have their pixels, charts have their size, and the page is not wider than a laptop's window."""
    sizes = opened.evaluate("[...document.images].map(i => [i.complete, i.naturalWidth, i.alt.length])")
    assert sizes and all(complete and width > 100 and words > 8 for complete, width, words in sizes)
    boxes = opened.evaluate(
        "[...document.querySelectorAll('main svg')].map(s => [s.getBoundingClientRect().width, "
        "s.getBoundingClientRect().right])"
    )
    assert len(boxes) > 15 and all(width > 80 and right <= 1366 for width, right in boxes)
    assert opened.evaluate("document.documentElement.scrollWidth") <= 1366
    cut = opened.evaluate(
        "[...document.querySelectorAll('.scroll')].filter(s => s.scrollWidth > s.clientWidth + 1).map(s => s.ariaLabel)"
    )
    assert cut == []


def test_the_contents_lead_there(opened):
    """Each entry of the contents brings its section to the top of the window."""
    opened.emulate_media(reduced_motion="reduce")
    links = opened.locator("nav a")
    for k in range(links.count()):
        link = links.nth(k)
        link.click()
        target = link.get_attribute("href")[1:]
        opened.wait_for_function(
            "id => { const r = document.getElementById(id).getBoundingClientRect();"
            " const end = Math.abs(scrollY + innerHeight - document.documentElement.scrollHeight) < 2;"
            " return (r.top > -5 && r.top < 120) || (end && r.top < innerHeight); }",
            arg=target,
            timeout=5000,
        )


def test_the_animation_moves_with_its_loops(opened, folder):
    """Play moves frame, loops, clock and cursor; the slider goes to any time; magnification redraws; it stops."""
    player = opened.locator(".player").first
    player.scroll_into_view_if_needed()
    path = player.locator(".moving[data-kind=member]")
    still, dot = path.get_attribute("d"), player.locator(".loop .now").first.get_attribute("cx")
    scene = json.loads((folder / "limit_states" / "dl.scene.json").read_text())
    assert float(player.locator(".scrub").input_value()) == pytest.approx(
        scene["times"][scene["peak"]], abs=0.01
    )
    button = player.locator(".play")
    player.locator(".speed").select_option("4")
    button.click()
    opened.wait_for_function("+document.querySelector('.player').dataset.time > 0.3", timeout=5000)
    assert button.inner_text() == "Pause"
    button.click()
    assert button.inner_text() == "Play"
    assert path.get_attribute("d") != still and player.locator(".loop .now").first.get_attribute("cx") != dot
    at = player.get_attribute("data-time")
    player.locator(".scrub").evaluate(
        "(s, t) => { s.value = t; s.dispatchEvent(new Event('input')); }", scene["times"][-1]
    )
    assert (
        float(player.get_attribute("data-time")) == pytest.approx(scene["times"][-1], abs=0.01)
        and at is not None
    )
    small = path.get_attribute("d")
    options = player.locator(".scale option").all_inner_texts()
    player.locator(".scale").select_option(index=len(options) - 1)
    assert path.get_attribute("d") != small
    # At the peak the player draws the still picture again.
    player.locator(".scale").select_option(str(scene["scale"]))
    player.locator(".scrub").evaluate(
        "(s, t) => { s.step = 'any'; s.value = t; s.dispatchEvent(new Event('input')); }",
        scene["times"][scene["peak"]],
    )
    mine, first = (_numbers(text) for text in (path.get_attribute("d"), still))
    assert len(mine) == len(first) and max(abs(a - b) for a, b in zip(mine, first, strict=True)) < 0.3
    assert opened.said == []


def _numbers(path: str) -> list[float]:
    return [float(part) for piece in path.replace("L", "M").split("M")[1:] for part in piece.split()]


def test_it_prints_on_paper(opened, tmp_path):
    """Print gives a PDF of several A4 pages, without controls, with the whole of every table."""
    opened.emulate_media(media="print")
    assert opened.locator(".controls").first.is_hidden()
    assert opened.locator("nav").is_visible()
    overflow = opened.evaluate("getComputedStyle(document.querySelector('.table .scroll')).overflowX")
    assert overflow == "visible"
    data = opened.pdf(path=tmp_path / "report.pdf", prefer_css_page_size=True, print_background=True)
    pages = data.count(b"/Type /Page\n") + data.count(b"/Type /Page ")
    assert data.startswith(b"%PDF") and 6 <= pages <= 40


def test_it_fits_a_narrow_window(opened):
    """On a window of 420 px the text does not stick out; tables and contents follow."""
    opened.set_viewport_size({"width": 420, "height": 800})
    assert opened.evaluate("document.documentElement.scrollWidth") <= 420
