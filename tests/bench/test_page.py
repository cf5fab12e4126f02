"""The page as a person meets it, in a real browser."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe

from coilwright.job import load, template
from tests.bench.server import SHORT, Server, wait_for

TURN = '[data-id="turn:2"] .fill'


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    (folder / "job.toml").write_text(SHORT, encoding="utf-8")
    (folder / "long.toml").write_text(template("susceptor-crucible"), encoding="utf-8")
    running = Server(folder)
    yield running
    running.stop()


class Seen:
    """What a page said and asked for."""

    def __init__(self, page):
        self.errors, self.outside, self.page = [], [], page
        page.on("console", lambda m: self.errors.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: self.errors.append(str(e)))
        page.on(
            "request",
            lambda r: (
                self.outside.append(r.url) if not re.match(r"(http|ws)://127\.0\.0\.1:|data:|blob:", r.url) else None
            ),
        )


@pytest.fixture
def file(server, request):
    """A job file of this test's own."""
    path = server.folder / (re.sub(r"\W+", "-", request.node.name) + ".toml")
    path.write_text(SHORT, encoding="utf-8")
    return path


@pytest.fixture
def tab(browser, server, file):
    """Open tabs on the server; at the end none may have shown an error or asked an outside host."""
    seen = []

    def open_tab(path=f"/job/{file.name}", width=1400, height=900, scheme="light", settled=True):
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, accept_downloads=True
        )
        context.set_default_timeout(40_000)  # the machine may be busy with other tests
        page = context.new_page()
        seen.append(Seen(page))
        page.goto(f"http://127.0.0.1:{server.port}{path}")
        if settled:
            rest(page)
        return page

    yield open_tab
    for one in seen:
        one.page.context.close()
        assert one.errors == []
        assert one.outside == []


def rest(page):
    """Wait until everything about the job as it stands is computed and shown."""
    page.locator(".doing[data-settled=true]").wait_for()
    page.locator(".figures", has_text="estimated error").wait_for()
    page.locator(".verdict").first.wait_for()


def power(page):
    return float(page.locator("tr.lead td").inner_text().split()[0])


def middle(page, what=TURN):
    box = page.locator(what).first.bounding_box()
    return box["x"] + 0.1 * box["width"], box["y"] + 0.5 * box["height"]


def drag(page, up, what=TURN, drop=True):
    """Drag by `up` pixels, in steps as a hand does."""
    x, y = middle(page, what)
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 6):
        page.mouse.move(x, y - up * step / 5)
        page.wait_for_timeout(30)
    if drop:
        page.mouse.up()


def choose(page, item):
    """Put the keyboard on an item of the drawing."""
    element = page.locator(item)
    element.locator(".fill").first.wait_for()
    wait_for(lambda: element.focus() or page.evaluate("document.activeElement.matches('[data-id]')"))


def undo_all(page):
    """Press undo until the file is as it was saved."""
    undo = page.get_by_role("button", name="Undo", exact=True)

    def undone():
        if undo.is_enabled():
            undo.evaluate("b => b.click()")
        page.wait_for_timeout(200)
        return "not saved" not in page.locator(".file").inner_text()

    wait_for(undone, 15)


def value(page, key):
    return page.locator(f'[data-key="{key}"]')


def serious(page):
    found = Axe().run(page).response["violations"]
    return [
        (v["id"], [n["html"][:150] for n in v["nodes"][:3]]) for v in found if v["impact"] in ("serious", "critical")
    ]


def test_opens_shows_figures_curve_and_verdict(tab):
    page = tab()
    assert "getter ring" in page.locator("h1").inner_text()
    assert power(page) == pytest.approx(31.7, rel=0.02)
    assert page.locator(".verdict.met").count() == 2
    assert page.locator(".chart svg path").count() > 5
    assert page.locator("canvas").first.evaluate(
        "c => c.getContext('2d').getImageData(0, 0, c.width, c.height).data.some(v => v)"
    )
    assert serious(page) == []


def test_figures_and_curve_follow_a_drag_and_undo_brings_it_back(tab, file):
    page = tab()
    before = power(page)
    drag(page, 60, drop=False)
    wait_for(lambda: power(page) < 0.8 * before)
    page.locator(".figures", has_text="while dragging").wait_for()
    assert "up" in page.locator(".sheet-note").inner_text()
    assert load(file).coil.centre == pytest.approx(0.01625)
    page.mouse.up()
    page.locator(".figures", has_text="estimated error").wait_for()
    page.locator(".file", has_text="not saved").wait_for()
    undo_all(page)
    wait_for(lambda: power(page) == pytest.approx(before, rel=1e-3))
    page.locator(".file", has_text=", saved").wait_for()


def test_escape_puts_it_back(tab):
    page = tab()
    drag(page, 40, drop=False)
    page.keyboard.press("Escape")
    page.mouse.up()
    page.wait_for_timeout(300)
    assert "saved" in page.locator(".file").inner_text()
    assert "not" not in page.locator(".file").inner_text()


def test_an_overlap_is_refused_while_dragging_and_when_dropped(tab):
    page = tab()
    drag(page, -120, drop=False)
    page.locator(".sheet-note.bad", has_text="overlap").wait_for()
    page.mouse.up()
    page.locator(".bench-foot .bad", has_text="overlap").wait_for()
    assert "not saved" not in page.locator(".file").inner_text()


def test_typed_values_are_taken_or_refused_beside_the_field(tab):
    page = tab()
    choose(page, '[data-id="turn:2"]')
    field = value(page, "coil.centre")
    field.fill("17")
    field.press("Enter")
    page.locator(".fault", has_text="no unit").wait_for()
    assert field.get_attribute("aria-invalid") == "true"
    field.fill("17 mm")
    field.press("Enter")
    page.locator(".file", has_text="not saved").wait_for()
    wait_for(lambda: power(page) == pytest.approx(26.0, rel=0.02))


def test_keys_move_what_is_chosen(tab):
    page = tab()
    choose(page, '[data-id="turn:1"]')
    page.keyboard.press("ArrowUp")
    wait_for(lambda: value(page, "coil.centre").input_value() == "16.5 mm")
    choose(page, '[data-id="turn:1"]')
    page.keyboard.press("Shift+ArrowUp")
    wait_for(lambda: value(page, "coil.centre").input_value() == "19 mm")
    page.keyboard.press("Control+z")
    wait_for(lambda: value(page, "coil.centre").input_value() == "16.5 mm")


def test_turns_taken_apart_move_alone(tab, file):
    page = tab()
    choose(page, '[data-id="turn:2"]')
    page.get_by_role("button", name="Take the turns apart").click()
    choose(page, '[data-id="turn:4"]')
    page.keyboard.press("ArrowUp")
    wait_for(lambda: value(page, "coil.turn.4.z").input_value() == "24.75 mm")
    page.keyboard.down("Shift")
    drag(page, 60)
    page.keyboard.up("Shift")
    choose(page, '[data-id="turn:1"]')
    wait_for(
        lambda: (
            value(page, "coil.turn.1.z").count() == 1
            and float(value(page, "coil.turn.1.z").input_value().split()[0]) > 8.5
        )
    )


def test_saved_and_opened_again(tab, file):
    page = tab()
    choose(page, '[data-id="body:ring"]')
    value(page, 'body.\\"ring\\".centre').fill("0.5 mm")
    page.keyboard.press("Enter")
    page.locator(".file", has_text="not saved").wait_for()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Save", exact=True).click()
    page.locator(".file", has_text=", saved").wait_for()
    text = file.read_text(encoding="utf-8")
    assert "z of the middle of the shape" in text
    assert load(file).body("ring").centre == pytest.approx(0.0005)
    page.reload()
    rest(page)
    choose(page, '[data-id="body:ring"]')
    wait_for(lambda: value(page, 'body.\\"ring\\".centre').input_value() == "0.5 mm")


def test_another_program_s_change_is_shown(tab, file):
    page = tab()
    file.write_text(SHORT.replace('"16.25 mm"', '"18 mm"'), encoding="utf-8")
    page.locator(".bench-foot", has_text="another program").wait_for()
    rest(page)
    wait_for(lambda: power(page) == pytest.approx(20.1, rel=0.02))


def test_a_change_on_both_sides_is_asked_about(tab, file):
    page = tab()
    choose(page, '[data-id="turn:1"]')
    page.keyboard.press("ArrowUp")
    page.locator(".file", has_text="not saved").wait_for()
    file.write_text(SHORT.replace("turns = 4 ", "turns = 3 "), encoding="utf-8")
    page.get_by_role("button", name="Take the file").click()
    wait_for(lambda: page.locator(".item.turn").count() == 3)
    page.get_by_role("button", name="Undo", exact=True).click()
    wait_for(lambda: page.locator(".item.turn").count() == 4)


def test_two_tabs_show_one_job_and_lose_no_edit(tab):
    one, two = tab(), tab()
    choose(one, '[data-id="turn:1"]')
    one.keyboard.press("ArrowUp")
    two.locator(".file", has_text="not saved").wait_for()
    choose(two, '[data-id="body:ring"]')
    two.keyboard.press("ArrowDown")
    wait_for(lambda: value(two, 'body.\\"ring\\".centre').input_value() == "-0.25 mm")
    choose(two, '[data-id="turn:1"]')
    wait_for(lambda: value(two, "coil.centre").input_value() == "16.5 mm")
    undo_all(one)
    two.locator(".file", has_text=", saved").wait_for()


def test_runs_compares_and_takes_away_a_shot(tab, tmp_path):
    page = tab()
    page.get_by_role("button", name="Shot", exact=True).click()
    page.get_by_role("button", name="Run the shot").click()
    page.get_by_text("2 of 2 conditions hold").first.wait_for()
    page.get_by_role("button", name="Drawing", exact=True).click()
    choose(page, '[data-id="turn:1"]')
    page.keyboard.press("Shift+ArrowUp")
    page.locator(".file", has_text="not saved").wait_for()
    page.get_by_role("button", name="Shot", exact=True).click()
    page.get_by_role("button", name="Run the shot").click()
    page.get_by_text("1 of 2 conditions hold").first.wait_for()
    assert page.locator("input[type=checkbox]:checked").count() == 2
    chart = page.locator(".chart.tall svg")
    wait_for(lambda: "shot 1: ring" in chart.inner_html() and "shot 2: ring" in chart.inner_html())
    assert page.locator(".verdict.failed:visible").count() == 1
    assert serious(page) == []
    with page.expect_download() as taken:
        page.get_by_role("button", name="Take the table away").click()
    taken.value.save_as(tmp_path / "shots.csv")
    lines = (tmp_path / "shots.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("shot,time_s,ring_min_degC")
    assert {line.split(",")[0] for line in lines[1:]} == {"1", "2"}
    page.get_by_role("button", name="Play shot 1 on the drawing").click()
    page.get_by_role("slider").press("End")
    page.locator(".sheet-key", has_text="at 1.50 s").wait_for()


def test_a_long_shot_can_be_stopped(tab):
    page = tab("/job/long.toml", settled=False)
    page.get_by_role("button", name="Shot", exact=True).click()
    page.get_by_role("button", name="Run it on finer meshes").click()
    page.locator("progress").wait_for()
    page.get_by_role("button", name="Stop study 1").click()
    page.get_by_text("stopped by you").wait_for()
    page.get_by_role("button", name="Remove study 1").click()
    page.get_by_text("None yet").wait_for()


def test_a_text_with_faults_is_told_and_mended(tab):
    page = tab()
    page.get_by_role("button", name="Job file").click()
    area = page.get_by_label("Text of the job file")
    area.fill(SHORT.replace('"16.25 mm"', '"16.25"'))
    area.blur()
    page.locator(".bad", has_text="coil.centre").first.wait_for()
    area.fill(SHORT)
    area.blur()
    page.locator(".file", has_text=", saved").wait_for()
    assert serious(page) == []


@pytest.mark.parametrize(("width", "height", "scheme"), [(1400, 900, "dark"), (820, 1180, "light")])
def test_dark_and_tablet_are_readable(tab, width, height, scheme):
    page = tab(width=width, height=height, scheme=scheme)
    assert serious(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.locator(".sheet").bounding_box()["height"] > 400


def test_the_folder_lists_its_jobs_and_refuses_others(tab, file):
    page = tab("/", settled=False)
    page.get_by_role("link", name=file.name, exact=True).wait_for()
    assert serious(page) == []
    page.get_by_role("link", name=file.name, exact=True).click()
    rest(page)
    other = tab("/job/none.toml", settled=False)
    other.get_by_text("is not a job file of the opened folder").wait_for()


def test_a_killed_server_loses_no_edit_and_no_study(browser, tmp_path):
    (tmp_path / "job.toml").write_text(SHORT, encoding="utf-8")
    first = Server(tmp_path)
    page = browser.new_page()
    page.goto(first.address)
    rest(page)
    choose(page, '[data-id="turn:1"]')
    page.keyboard.press("ArrowUp")
    page.locator(".file", has_text="not saved").wait_for()
    page.get_by_role("button", name="Shot", exact=True).click()
    page.get_by_role("button", name="Run it on finer meshes").click()
    page.locator("progress").wait_for()
    first.kill()
    result = tmp_path / ".coilwright" / "studies" / "job" / "1" / "result.json"
    wait_for(result.exists, 30)
    second = Server(tmp_path)
    try:
        page.goto(f"http://127.0.0.1:{second.port}/job/job.toml?place=studies")
        page.locator("td", has_text="conditions hold").wait_for()
        page.locator(".file", has_text="not saved").wait_for()
        page.get_by_role("button", name="Save", exact=True).click()
        page.locator(".file", has_text=", saved").wait_for()
        assert load(tmp_path / "job.toml").coil.centre == pytest.approx(0.0165)
    finally:
        page.close()
        second.stop()
