"""The parts that panels are made of: a box of controls with its answer, and small helpers.

A panel is controls by name and one HTML child with words and picture below. One move of
a control is one answer: what follows from the move is set first, without an answer of
its own. An error is words in the panel, line by line, never a traceback. Every control
has a tooltip, long tables scroll in a box of their own, by keyboard too, and what a user
typed is shown as text.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import ipywidgets as widgets

from breedkit import canvas, overview
from breedkit.errors import BreedkitError
from breedkit.results import LONGEST, escape, html_table, show

LISTED = 1000  # lines of a table on a page before it says how many more there are

Options = list[tuple[str, Any]]


class Panel(widgets.VBox):
    """Controls by name, and the answer to their values.

    Parameters
    ----------
    title : what the panel is for; shown where no widget can be.
    controls : by the name under which `answer` takes their value.
    answer : the values of the controls -> HTML. A `BreedkitError` is shown as words.
    adapt : called before `answer` when a control has moved, with its name; may change
        the options of others.
    """

    def __init__(
        self,
        title: str,
        controls: Mapping[str, widgets.Widget],
        answer: Callable[..., str],
        adapt: Callable[[str], None] = lambda name: None,
    ):
        self.title = title
        self.controls = dict(controls)
        self.answer = answer
        self.adapt = adapt
        self.said = widgets.HTML(tooltip="")
        self._moving = False
        for name, control in self.controls.items():
            control.observe(lambda change, name=name: self._moved(name), "value")
        self.refresh()
        super().__init__([*self.controls.values(), self.said])

    def _moved(self, name: str) -> None:
        """One move of a user: controls that follow from it are set without a further answer."""
        if self._moving:
            return
        self._moving = True
        try:
            self.adapt(name)
        finally:
            self._moving = False
        self.refresh()

    def refresh(self) -> None:
        """Ask anew and show the answer."""
        values = {name: control.value for name, control in self.controls.items()}
        try:
            self.said.value = self.answer(**values)
        except BreedkitError as error:
            self.said.value = alert(error)

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        bundle = super()._repr_mimebundle_(**kwargs)
        bundle["text/plain"] = f"{self.title}: run the notebook to use this panel."
        return bundle


def named(names: Any) -> Options:
    """Options that stand for themselves, shown as text."""
    return [(show(name), name) for name in names]


def dropdown(description: str, options: Options, tooltip: str = "") -> widgets.Dropdown:
    """A choice among options, with its description in front; the tooltip may say more."""
    # Without a tooltip of its own a label would have the tooltip "null".
    return widgets.Dropdown(
        options=options, description=description, tooltip=tooltip or description,
        style={"description_width": "6em"}, layout=widgets.Layout(width="32em", max_width="100%"),
    )  # fmt: skip


def button(description: str, tooltip: str) -> widgets.Button:
    """A button; the tooltip says what a press does."""
    layout = widgets.Layout(width="16em")
    return widgets.Button(description=description, tooltip=tooltip, layout=layout)


def picture(view: overview.Overview) -> str:
    """The picture of a view; nothing where no plant is scored."""
    return canvas.html_of(view.plot) if view.scored else ""


def scrolling(frame: Any, title: str, longest: int = LONGEST) -> str:
    """A table in a box that scrolls if it is long; by keyboard too."""
    more = f", the first {LISTED:,} of them" if len(frame) > LISTED else ""
    table = html_table(frame.head(LISTED), title + more, index=False, longest=longest)
    if len(frame) <= 12:
        return table
    return (
        f'<div tabindex="0" role="region" aria-label="{escape(title)}" '
        f'style="max-height:26em;overflow:auto">{table}</div>'
    )


def offer(control: widgets.Dropdown, options: Options) -> None:
    """New options for a control; what was chosen stays chosen if it still is one."""
    if tuple(control.options) == tuple(options):
        return
    chosen = control.value
    control.options = options
    if chosen in [value for _, value in options]:
        control.value = chosen


def alert(words: object) -> str:
    """An error, or words, line by line."""
    return f'<p role="alert">{"<br>".join(escape(line) for line in str(words).splitlines())}</p>'
