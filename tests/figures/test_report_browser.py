"""The report page in real Chromium without a window: `pytest -m browser`."""

import base64

import pytest
from tests.figures.browser import chromium, complaints
from tests.figures.test_report import APART, kept

from slipbench.figures.report import draw_report_pictures, report_page

pytestmark = pytest.mark.browser


def test_report_opens_from_disk_shows_its_pictures_and_prints(tmp_path):
    comparison = kept(APART, 8)
    drawn = draw_report_pictures(comparison)
    pictures = {name[:-4]: data for name, data in drawn.items() if name.endswith(".svg")}
    path = tmp_path / "report.html"
    path.write_text(report_page(comparison, pictures), encoding="utf-8")
    with chromium(tmp_path / "profile") as page:
        page.get(path.as_uri())
        widths = page.execute_script("return [...document.images].map((i) => i.naturalWidth)")
        assert len(widths) == 2 and min(widths) > 100
        assert page.execute_script("return document.body.scrollWidth <= window.innerWidth")
        is_open = "return [...document.querySelectorAll('details')].map((d) => d.open)"
        assert not any(page.execute_script(is_open))
        printed = base64.b64decode(page.execute_cdp_cmd("Page.printToPDF", {})["data"])
        assert printed.startswith(b"%PDF") and len(printed) > 20_000
        assert all(page.execute_script(is_open))  # what is folded is printed as well
        assert complaints(page) == []


def test_report_fits_a_telephone_s_width(tmp_path):
    comparison = kept(APART, 8, ("axle_3_" * 30 + " locked at 31 m/s",))
    drawn = draw_report_pictures(comparison)
    pictures = {name[:-4]: data for name, data in drawn.items() if name.endswith(".svg")}
    path = tmp_path / "report.html"
    path.write_text(report_page(comparison, pictures), encoding="utf-8")
    with chromium(tmp_path / "profile") as page:
        narrow = {"width": 400, "height": 800, "deviceScaleFactor": 1, "mobile": True}
        page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", narrow)
        page.get(path.as_uri())
        page.execute_script(
            "document.querySelectorAll('details').forEach((d) => { d.open = true; })"
        )
        assert page.execute_script("return document.documentElement.scrollWidth") <= 400
