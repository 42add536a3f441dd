"""Hands and eyes for the browser tests: opens notebooks, works the controls by keyboard, looks.

A test of one notebook reads like this (`open_notebook` is a fixture of conftest.py):

    @pytest.mark.browser
    def test_one_gene(open_notebook):
        notebook = open_notebook("one_gene")        # opened, every cell run, no error
        panel = notebook.panel(1)                   # the first panel from the top
        before = panel.seen()
        after = panel.choose("Trait", "shape")      # waits until something changed
        assert after.words != before.words and after.picture != before.picture
        assert "3:1" in after.words and "3:1" in after.alt
        panel.write("Plants", "80")
        panel.press("Plants", "ArrowUp", times=3)
        notebook.screenshot("one_gene")

Each of `choose`, `write`, `press` and `pick_file` reaches its control with the Tab key, uses no
mouse, waits until the panel's answer has changed and come to rest, and returns what is then
seen. Nothing sleeps for a fixed time; every wait ends in an error after 60 seconds.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

WIDTH, HEIGHT = 1280, 900
PATIENCE = 60_000  # milliseconds
MOST_TABS = 200

# JupyterLab's own objects, there because the tests start it with --expose-app-in-browser.
KERNEL_READY = """async () => {
    const notebook = jupyterapp.shell.currentWidget;
    await notebook.revealed;
    await notebook.sessionContext.ready;
    await notebook.sessionContext.session.kernel.info;
}"""
RUN_ALL = "() => jupyterapp.commands.execute('notebook:run-all-cells')"
STOP_KERNEL = "() => jupyterapp.shell.currentWidget.sessionContext.shutdown()"
# Changed, the kernel free, and the same answer as at the look before.
CHANGED_AND_AT_REST = """([answer, before]) => {
    const now = answer.innerHTML, last = answer.seenLast;
    answer.seenLast = now;
    const kernel = jupyterapp.shell.currentWidget.sessionContext.session.kernel;
    return now !== before && now === last && kernel.status === 'idle';
}"""
BETWEEN_LOOKS = 150  # milliseconds


class Seen(NamedTuple):
    """What a panel answers: its words, its first picture's source, and that picture's text."""

    words: str
    picture: str
    alt: str


class Notebook:
    """One notebook, open in a page of its own."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def run_all(self) -> None:
        """What Run > Run All Cells does; returns when the last cell is done."""
        self.page.locator(".jp-Notebook-cell").first.wait_for()
        self.ask(KERNEL_READY)
        self.ask(RUN_ALL)
        faults = "[data-mime-type$='jupyter.stderr'], [data-mime-type$='jupyter.error']"
        said = self.page.locator(faults).all_inner_texts()
        assert not said, "\n".join(said)

    def close(self) -> None:
        """Stop the kernel, so that the next to open the notebook gets a fresh one."""
        self.ask(STOP_KERNEL)
        self.page.close()

    def ask(self, script: str) -> None:
        """Run a function in the page and wait for what it promises, but not for ever."""
        too_late = f"setTimeout(() => fail(new Error('not done in time')), {PATIENCE})"
        self.page.evaluate(
            f"() => Promise.race([({script})(), new Promise((_, fail) => {too_late})])"
        )

    def panel(self, number: int) -> Panel:
        """The panel with this number, counted from the top, from 1."""
        # A column inside a column belongs to the outer one.
        panels = self.page.locator(".widget-vbox:not(.widget-vbox .widget-vbox)")
        panels.nth(number - 1).wait_for()
        return Panel(self.page, panels.nth(number - 1))

    def assert_calm(self) -> None:
        """No dialog, no pop-up, no news, no file list."""
        for disturbance in (".jp-Dialog", ".Toastify__toast", ".jp-DirListing", ".jp-SidePanel"):
            assert self.page.locator(disturbance).locator("visible=true").count() == 0, disturbance

    def screenshot(self, name: str) -> Path:
        """A picture of the whole notebook, in the folder that BREEDKIT_SCREENSHOTS names."""
        folder = Path(os.environ["BREEDKIT_SCREENSHOTS"])
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{name}.png"
        hidden = self.page.locator(".jp-WindowedPanel-outer").evaluate(
            "pane => { pane.scrollTop = 0; return pane.scrollHeight - pane.clientHeight; }"
        )
        self.page.set_viewport_size({"width": WIDTH, "height": HEIGHT + hidden})
        self.page.screenshot(path=path)
        self.page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
        return path


class Panel:
    """A column of controls, and one piece of HTML with the answer."""

    def __init__(self, page: Page, column: Locator) -> None:
        self.page, self.column = page, column

    @property
    def answer(self) -> Locator:
        return self.column.locator(".widget-html").last

    def seen(self) -> Seen:
        """What the panel answers now."""
        answer = self.answer
        answer.scroll_into_view_if_needed()  # a cell out of sight has no words
        picture, alt = "", ""
        if answer.locator("img").count():
            first = answer.locator("img").first
            picture, alt = first.get_attribute("src") or "", first.get_attribute("alt") or ""
        return Seen(answer.inner_text(), picture, alt)

    def control(self, label: str) -> Locator:
        """The one control with this label: a field, list, tick box, button or slider."""
        # A file button counts the files it holds: "Your table (0)".
        name = re.compile(rf"^\s*{re.escape(label)}(\s\(\d+\))?\s*$")
        # A slider's handle has no name of its own, so it is found beside the label.
        slider = self.column.locator(".widget-slider").filter(
            has=self.page.locator("label").filter(has_text=name)
        )
        found = (
            self.column.get_by_label(name)
            .or_(self.column.locator("button").filter(has_text=name))
            .or_(slider.get_by_role("slider"))
        )
        known = self.column.locator("label, button").all_inner_texts()
        assert found.count() == 1, f"{label!r} names {found.count()} controls of {known}"
        return found

    def reach(self, label: str) -> Locator:
        """Tab until the control has the focus."""
        control = self.control(label)
        for _ in range(MOST_TABS):
            if control.evaluate("control => control === document.activeElement"):
                return control
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{label!r} cannot be reached with the Tab key")

    def press(self, label: str, key: str, times: int = 1) -> Seen:
        """Press a key on a control: an arrow on a slider, Space on a tick box or button."""
        before = self._html()
        self.reach(label)
        for _ in range(times):
            self.page.keyboard.press(key)
        return self._changed(before)

    def choose(self, label: str, option: str) -> Seen:
        """Go to an option of a list with the arrow keys."""
        control = self.control(label)
        options = [_plain(text) for text in control.locator("option").all_inner_texts()]
        assert option in options, f"{option!r} is not one of {options}"
        steps = options.index(option) - control.evaluate("list => list.selectedIndex")
        seen = self.press(label, "ArrowDown" if steps > 0 else "ArrowUp", abs(steps))
        assert _plain(control.evaluate("list => list.selectedOptions[0].text")) == option
        return seen

    def write(self, label: str, text: str) -> Seen:
        """Write over what a field holds, and leave it with Tab."""
        before = self._html()
        self.reach(label)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Tab")
        return self._changed(before)

    def pick_file(self, label: str, path: Path) -> Seen:
        """Press a file button and pick a file in the window that opens."""
        before = self._html()
        with self.page.expect_file_chooser() as chooser:
            self.reach(label)
            self.page.keyboard.press("Enter")
        chooser.value.set_files(path)
        return self._changed(before)

    def _html(self) -> str:
        return self.answer.locator(".widget-html-content").inner_html()

    def _changed(self, before: str) -> Seen:
        from playwright.sync_api import TimeoutError

        content = self.answer.locator(".widget-html-content").element_handle()
        try:
            self.page.wait_for_function(
                CHANGED_AND_AT_REST, arg=[content, before], polling=BETWEEN_LOOKS
            )
        except TimeoutError as error:
            raise AssertionError(f"The answer stayed as it was: {self.seen().words!r}") from error
        return self.seen()


def _plain(text: str) -> str:
    """Blanks as one types them; a list shows them unbreakable."""
    return text.replace("\xa0", " ")
