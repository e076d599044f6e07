"""The live page in a real browser, while a test of the demo split is under way."""

import threading

import numpy as np

from frame2d.demo import laboratory
from frame2d.hybrid import CHECKS, Page
from frame2d.motions.record import Record


def test_the_live_page_shows_the_test_and_only_shows_it(page):
    """A browser sees step, guard, limits, caution and four drawn histories of a running test, and has nothing to press."""
    t = np.arange(201) * 0.005
    record = Record(4.0 * np.sin(12.0 * t), 0.005, "invented sine", synthetic=True)
    halfway, seen = threading.Event(), threading.Event()

    def wait(progress):
        if progress.step == 120:
            halfway.set()
            seen.wait(60.0)

    live = Page()
    test = laboratory.demo_test(record, views=(live, wait))
    run = threading.Thread(target=lambda: test.run(CHECKS))
    run.start()
    try:
        assert halfway.wait(60.0)
        page.goto(live.url)
        page.wait_for_function("document.getElementById('head').textContent.includes('120 of 200')")
        assert (
            "interlocks" in page.inner_text(".caution")
            and page.inner_text("#title") == "Hybrid test under way"
        )
        assert page.locator(".limit").count() == 4
        for name in ("u", "e", "l", "h"):
            drawn = page.evaluate(
                f"(() => {{ const c = document.getElementById('{name}'); "
                "return c.getContext('2d').getImageData(0, 0, c.width, c.height).data.filter((v, i) => i % 4 == 3 && v > 0)"
                ".length })()"
            )
            assert drawn > 500, name
        assert page.locator("button, input, form, a").count() == 0
        seen.set()
        page.wait_for_function("document.getElementById('title').textContent.includes('over')")
        assert page.said == []
        run.join(60.0)
        live.close()
        page.wait_for_function("document.getElementById('title').textContent.includes('lost the solver')")
    finally:
        seen.set()
        run.join(60.0)
        live.close()
