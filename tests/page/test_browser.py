"""The page in a real browser: a step by Enter alone, the keyboard up, light and dark, no script.

Chromium as the system has it; nothing is downloaded.
"""

from __future__ import annotations

import shutil
from urllib.parse import quote

import pytest

from .conftest import Served, Visitor, wait_for

MACHINE = "m/" + quote("practice cartesian 7", safe="")
SHEETS = [
    "",
    *(f"{MACHINE}/{n}" for n in ("before", "evening", "now", "finding", "change", "take")),
]
STEP = "form[data-step]"

pytestmark = [pytest.mark.system("chromium"), pytest.mark.xdist_group("browser")]


@pytest.fixture(scope="module")
def chromium():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def practice(tmp_path_factory):
    """A practice page in the middle of a span, somewhere among its places."""
    home = tmp_path_factory.mktemp("browser") / "home"
    served = Served("practice", "--seed", "7", "--speed", "2000", "--page-port", "0", home=home)
    visitor = Visitor(served.address).get(f"/{MACHINE}/before").press("/do/found")
    wait_for(lambda: "On to this evening" in visitor.get(f"/{MACHINE}/now").text)
    at_the_span(visitor)
    yield served
    served.end()


def at_the_span(visitor: Visitor) -> None:
    """Begin a span alone, and come to its first place by plain forms."""
    visitor.get(f"/{MACHINE}/evening").press("/do/evening", trials="span")
    while not (visitor.step() or "").endswith("span.1.1"):
        if visitor.step():
            visitor.press("/answer", ("answer", "yes"))
        else:
            visitor.get(f"/{MACHINE}/now")


def place_of(page) -> int:
    """Which place is asked for."""
    return int(page.get_attribute(STEP, "data-step").rsplit(".", 1)[1])


def test_twelve_readings_by_enter_alone(practice, chromium):
    """As a caliper that types does it; field and stop in sight with a phone's keyboard up."""
    page = chromium.new_page(viewport={"width": 360, "height": 360}, has_touch=True)
    page.goto(f"{practice.address}{MACHINE}/now")
    first = place_of(page)
    steps = []
    for number in range(first, first + 12):
        page.wait_for_selector(f'{STEP}[data-step$="span.1.{number}"] #value')
        steps.append(page.get_attribute(STEP, "data-step"))
        for name in ("#value", ".stop button"):
            box = page.locator(name).bounding_box()
            assert box and box["y"] >= 0 and box["y"] + box["height"] <= 360, (name, box)
        page.locator("#value").focus()
        page.keyboard.type(page.inner_text(".display").replace(".", ","))
        page.keyboard.press("Enter")
    page.wait_for_selector(f'{STEP}[data-step$="span.1.{first + 12}"]')
    assert len(set(steps)) == 12
    page.close()


def test_what_is_typed_outlives_a_reload_and_a_second_tab_sees_the_step(practice, chromium):
    context = chromium.new_context()
    page, other = context.new_page(), context.new_page()
    for each in (page, other):
        each.goto(f"{practice.address}{MACHINE}/now")
    place, shown = place_of(page), page.inner_text(".display")
    page.fill("#value", shown)
    page.reload()
    assert page.input_value("#value") == shown
    page.press("#value", "Enter")
    for each in (page, other):  # the other one hears of it by itself
        each.wait_for_selector(f'{STEP}[data-step$="span.1.{place + 1}"]')
    context.close()


def test_every_sheet_is_whole_and_within_reach(practice, chromium):
    """axe-core finds nothing serious; nothing is wider than the screen or asked of another host."""
    asked: list[str] = []
    faults: list[str] = []
    for width, height, scheme in ((1280, 800, "light"), (360, 640, "dark")):
        context = chromium.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme
        )
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: faults.append(message.text))
        page.on("pageerror", lambda error: faults.append(str(error)))
        for sheet in SHEETS:
            page.goto(f"{practice.address}{sheet}")
            assert grave(page) == [], sheet
            assert page.evaluate("document.documentElement.scrollWidth") <= width, sheet
            assert page.is_visible(".stop button")
        context.close()
    assert all(url.startswith((practice.address, "data:")) for url in asked)
    assert faults == []


def grave(page) -> list[tuple[str, list]]:
    """What axe-core calls serious or critical."""
    from axe_playwright_python.sync_playwright import Axe

    return [
        (each["id"], [node["target"] for node in each["nodes"]])
        for each in Axe().run(page).response["violations"]
        if each["impact"] in ("serious", "critical")
    ]


def test_the_first_view_is_small(practice, chromium):
    page = chromium.new_page()
    page.goto(practice.address, wait_until="load")
    kinds = "['navigation', 'resource'].flatMap((kind) => performance.getEntriesByType(kind))"
    sizes = page.evaluate(f"{kinds}.map((entry) => entry.encodedBodySize)")
    assert len(sizes) >= 3 and 0 < sum(sizes) <= 60 * 1024
    page.close()


def test_a_phone_goes_to_the_machine_that_asks_and_a_desk_stays(serve, chromium):
    served = serve("open", "--page-port", "0")
    visitor = Visitor(served.address)
    for name in ("bracket-clock", "carriage-clock"):
        visitor.get("/").press("/machine", name=name)
        visitor.press("/pasted", steps="X=80, Y=80, Z=400, E=93")
        visitor.get(f"/m/{name}/now")
    phone, desk = (chromium.new_page(viewport={"width": w, "height": 640}) for w in (360, 1280))
    for page in (phone, desk):
        page.goto(f"{served.address}m/carriage-clock/now")
        page.wait_for_selector("#follow:visible")
    phone.wait_for_timeout(1000)  # what is heard first calls nobody away
    visitor.get("/m/bracket-clock/evening").press("/do/trial")
    # Polled: a second word of the server may turn a page around that is still on its way.
    for _ in range(100):
        if phone.url.endswith("/m/bracket-clock/now"):
            break
        phone.wait_for_timeout(100)
    assert phone.url.endswith("/m/bracket-clock/now")
    desk.wait_for_selector("#strip .turn")
    assert desk.url.endswith("/m/carriage-clock/now")
    phone.close(), desk.close()


def test_lost_contact_is_said_within_three_seconds(practice, chromium):
    page = chromium.new_page()
    page.goto(f"{practice.address}{MACHINE}/now")
    page.wait_for_function("document.getElementById('lost').hidden")
    page.wait_for_timeout(500)
    practice.kill()
    page.wait_for_selector("#lost:visible", timeout=3000)
    said = page.inner_text("#lost")
    assert "Span" in said and "power switch" in said
    page.close()
