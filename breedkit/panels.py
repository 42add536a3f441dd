"""The panels: controls above, one HTML child with words and picture below.

A panel gathers the values of its controls, calls one public function, and lays out
what that says; it computes nothing itself. One move of a control is one call. What
cannot be answered is said in the panel, in the words of the error. The season that a
grower has loaded is kept in the folder `my_season` beside the notebooks, where the
other notebooks find it.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from breedkit import charts, overview
from breedkit.compare import judge_family
from breedkit.errors import BreedkitError
from breedkit.overview import NOT_SCORED, family_labels, first_choice
from breedkit.results import escape, html_table, plants, show
from breedkit.tables import Season, load_season

OWN_SEASON = "my_season"
INVENTED_SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"
BY_FAMILY = "by generation and family"
ALL_FAMILIES = "all families"
ALL_PLANTS = "all plants"
LISTED = 40  # plants that a list shows before it says how many more there are

Options = list[tuple[str, str]]


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
        self.said = widgets.HTML()
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
            self.said.value = f'<p role="alert">{_lines(str(error))}</p>'

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        bundle = super()._repr_mimebundle_(**kwargs)
        bundle["text/plain"] = f"{self.title}: run the notebook to use this panel."
        return bundle


# --- the season at hand --------------------------------------------------------------


def season_at_hand(folder: str | Path = OWN_SEASON) -> Season:
    """The season loaded in the start notebook; the invented one if there is none.

    Parameters
    ----------
    folder : where `start` keeps the grower's season.
    """
    own = Path(folder)
    return load_season(own if (own / "plants.csv").exists() else INVENTED_SEASON)


def load_table(folder: str | Path = OWN_SEASON) -> widgets.VBox:
    """Pick the files of a season; see what was understood and what needs mending."""
    picker = widgets.FileUpload(
        accept=".csv,.tsv,.txt,.xlsx", multiple=True, description="Pick your table",
        tooltip="One workbook, or the files plants, families and traits",
        layout=widgets.Layout(width="16em"),
    )  # fmt: skip
    back = widgets.Button(
        description="Back to the invented season", layout=widgets.Layout(width="16em")
    )

    def answer(picked: tuple[Any, ...]) -> str:
        if picked:
            keep_files(picked, Path(folder))
        season = season_at_hand(folder)
        own = (Path(folder) / "plants.csv").exists()
        whose = "Your season" if own else "The invented season"
        return f"<p>{whose} is what the other notebooks use now.</p>{season_html(season)}"

    panel = Panel("Load your own table", {"picked": picker}, answer)

    def forget(_: widgets.Button) -> None:
        put_aside(Path(folder))
        picker.value = ()
        panel.refresh()

    back.on_click(forget)
    panel.children = (picker, back, panel.said)
    return panel


def keep_files(picked: tuple[Any, ...], folder: Path) -> None:
    """Load the picked files and keep them: as they came in `as_loaded`, tidied beside it.

    Nothing is touched unless the files can be loaded; what was kept before is put aside.
    """
    arrived = folder.with_name(f"{folder.name}_arriving")
    shutil.rmtree(arrived, ignore_errors=True)
    arrived.mkdir(parents=True)
    try:
        names = [Path(file["name"]).name for file in picked]
        for name, file in zip(names, picked, strict=True):
            (arrived / name).write_bytes(bytes(file["content"]))
        season = load_season(arrived / names[0] if len(names) == 1 else arrived)
        put_aside(folder)
        season.save(folder)
        arrived.rename(folder / "as_loaded")
    finally:
        shutil.rmtree(arrived, ignore_errors=True)


def put_aside(folder: Path) -> None:
    """Rename a kept season to the first free of my_season_old1, my_season_old2, ..."""
    if folder.exists():
        number = 1
        while (old := folder.with_name(f"{folder.name}_old{number}")).exists():
            number += 1
        folder.rename(old)


def season_html(season: Season) -> str:
    """What was understood of a season, and every line that needs a look."""
    problems = season.problems
    columns = ["severity", "source", "row", "column", "value", "problem", "suggestion"]
    found = problems[[c for c in columns if c in problems]]
    parts = [season.to_html(notes=False)]
    for severity, words in (
        ("mend", "Not used until mended"),
        ("check", "Used as typed, but worth a look"),
        ("note", "Good to know"),
    ):
        lines = found[found["severity"] == severity].drop(columns="severity")
        if len(lines):
            parts.append(html_table(lines.head(LISTED), f"{words} ({len(lines)})", index=False))
    return "".join(parts)


# --- look around ---------------------------------------------------------------------


class LookAround(Panel):
    """Any trait by family or against another, and the plants behind a bar."""

    def __init__(self, season: Season):
        self.season = season
        trait = _dropdown("Trait", _named(season.trait_names))
        against = _dropdown("Shown", [(BY_FAMILY, "")])
        family = _dropdown("Families", [(ALL_FAMILIES, "")])
        shown = _dropdown("List", [(ALL_PLANTS, "")])
        controls = {"trait": trait, "against": against, "family": family, "shown": shown}
        self._fill(controls)
        super().__init__(
            "Look around in the scores", controls, self._answer, lambda name: self._fill(controls)
        )

    def use(self, season: Season) -> None:
        """Show another season, such as the same one mended."""
        self.season = season
        self._moved("season")

    def _fill(self, controls: Mapping[str, widgets.Dropdown]) -> None:
        """Options that follow from the season and the trait; a choice that stays possible stays."""
        season, trait = self.season, controls["trait"].value
        others = [t for t in season.trait_names if t != trait]
        labels = family_labels(season)
        classes = season.trait(trait).classes if season.trait(trait).has_classes else ()
        _offer(
            controls["against"],
            [(BY_FAMILY, ""), *((f"against {show(t)}", t) for t in others)],
        )
        _offer(controls["family"], [(ALL_FAMILIES, ""), *((show(v), k) for k, v in labels.items())])
        _offer(
            controls["shown"],
            [(ALL_PLANTS, ""), *_named(classes), (f"plants {NOT_SCORED}", NOT_SCORED)],
        )

    def _answer(self, trait: str, against: str, family: str, shown: str) -> str:
        view = overview.look_around(
            self.season, trait, against or None, family or None, shown or None
        )
        picture = charts.html_of(view.plot)
        behind = view.plants_behind
        more = f", the first {LISTED} of them" if len(behind) > LISTED else ""
        title = f"{plants(len(behind))} {show(shown) if shown else 'in all'}{more}"
        return (
            f"<p><strong>{escape(view.verdict)}</strong></p>{picture}"
            f"<details><summary>{escape(title)}</summary>"
            f"{html_table(behind.head(LISTED), index=False)}</details>"
        )


def look_around(season: Season) -> LookAround:
    """Any trait by family or against another, and the plants behind a bar."""
    return LookAround(season)


def mend_spelling(looking: LookAround, folder: str | Path = OWN_SEASON) -> Panel:
    """Say once what a spelling means; the panel `looking` then shows the mended season."""
    spelling = _dropdown("Spelling", spellings(looking.season))
    meaning = _dropdown("means", [("", "")])
    button = widgets.Button(description="Mend it everywhere", layout=widgets.Layout(width="16em"))

    def fill(name: str = "spelling") -> None:
        column, _, _ = spelling.value.partition("\n")
        known = looking.season.trait(column).classes if column else ()
        _offer(meaning, [*_named(known), (NOT_SCORED, "?")])

    def answer(spelling: str, meaning: str) -> str:
        column, _, typed = spelling.partition("\n")
        if not column:
            return "<p>No spelling needs mending.</p>"
        known = looking.season.trait(column)
        if not known.has_classes:
            return (
                f"<p>{escape(show(typed))} in {escape(show(column))}: count it as not scored?</p>"
            )
        meant = NOT_SCORED if meaning == "?" else meaning
        return (
            f"<p>Read <q>{escape(show(typed))}</q> in {escape(show(column))} as "
            f"<strong>{escape(show(meant))}</strong>, in every row?</p>"
        )

    fill()
    panel = Panel(
        "Mend a spelling",
        {"spelling": spelling, "meaning": meaning},
        answer,
        lambda name: fill() if name == "spelling" else None,
    )

    def mend(_: widgets.Button) -> None:
        column, _, typed = spelling.value.partition("\n")
        if not column:
            return
        try:
            mended = looking.season.mend(column, {typed: meaning.value})
            if (Path(folder) / "plants.csv").exists():
                mended.save(folder)
        except BreedkitError as error:
            panel.said.value = f'<p role="alert">{_lines(str(error))}</p>'
            return
        looking.use(mended)
        done = f"<p>Mended: {escape(show(typed))}. The panel above shows it.</p>"
        panel._moving = True
        _offer(spelling, spellings(mended))
        fill()
        panel._moving = False
        panel.refresh()
        panel.said.value = done + panel.said.value

    button.on_click(mend)
    panel.children = (spelling, meaning, button, panel.said)
    return panel


def spellings(season: Season) -> Options:
    """The entries that may need mending: (what to show, column and entry)."""
    problems = season.problems
    names = {n.casefold(): n for n in season.trait_names}
    found = []
    for _, line in problems[problems["severity"] != "note"].iterrows():
        column = names.get(str(line["column"]).strip().casefold())
        if column and isinstance(line["value"], str) and line["value"]:
            label = f"{show(line['value'], longest=30)} in {show(column, longest=30)}"
            found.append((label, f"{column}\n{line['value']}"))
    return list(dict(found).items()) or [("nothing to mend", "")]


# --- one gene? -----------------------------------------------------------------------


def one_gene(season: Season) -> Panel:
    """Choose trait and family; read the verdict, see the chart and the plants needed."""
    first_trait, first_family = first_choice(season)
    classed = [t for t in season.trait_names if season.trait(t).has_classes]
    trait = _dropdown("Trait", _named(classed))
    family = _dropdown("Family", [(show(v), k) for k, v in family_labels(season).items()])
    trait.value, family.value = first_trait, first_family

    def answer(trait: str, family: str) -> str:
        judged = judge_family(season, trait, family)
        if not judged.candidates:
            return judged.to_html()
        return judged.to_html(charts.html_of(judged.plot))

    return Panel("Is it one gene?", {"trait": trait, "family": family}, answer)


# --- small parts ---------------------------------------------------------------------


def _named(names: Any) -> Options:
    return [(show(name), name) for name in names]


def _dropdown(description: str, options: Options) -> widgets.Dropdown:
    return widgets.Dropdown(
        options=options, description=description,
        style={"description_width": "6em"}, layout=widgets.Layout(width="32em", max_width="100%"),
    )  # fmt: skip


def _offer(control: widgets.Dropdown, options: Options) -> None:
    """New options for a control; what was chosen stays chosen if it still is one."""
    if tuple(control.options) == tuple(options):
        return
    chosen = control.value
    control.options = options
    if chosen in [value for _, value in options]:
        control.value = chosen


def _lines(text: str) -> str:
    return "<br>".join(escape(line) for line in text.splitlines())
