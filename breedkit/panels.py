"""The panels: a grower's questions, each with its controls and its answer.

A panel gathers the values of its controls, calls one public function, and lays out
what that says; it computes nothing itself. One move of a control is one call. What
cannot be answered is said in the panel, in the words of the error. The season that a
grower has loaded is kept in the folder `my_season` beside the notebooks, where the
other notebooks find it. The panels that ask about genes, about descent and about what
plants carry have rooms of their own, `breedkit.genepanels`, `breedkit.treepanels` and
`breedkit.carrypanels`; notebooks find all of them here.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import ipywidgets as widgets

from breedkit import overview
from breedkit.carrypanels import what_it_carries
from breedkit.controls import (
    Options,
    Panel,
    alert,
    button,
    dropdown,
    named,
    offer,
    picture,
    scrolling,
)
from breedkit.errors import BreedkitError, Problem, TableError, did_you_mean, fold
from breedkit.genepanels import one_gene, try_truth, which_model
from breedkit.overview import (
    NOT_SCORED,
    Spelling,
    count_rows,
    family_labels,
    rows_typed,
    sound_meanings,
    spellings,
    what_they_say,
)
from breedkit.reading import read_table
from breedkit.register import read_traits
from breedkit.results import escape, listing, plants, show
from breedkit.tables import Season, load_season
from breedkit.treepanels import family_tree

__all__ = [
    "family_tree",
    "load_table",
    "look_around",
    "mend_spelling",
    "one_gene",
    "season_at_hand",
    "try_truth",
    "what_it_carries",
    "which_model",
]

OWN_SEASON = "my_season"
INVENTED_SEASON = Path(__file__).parent.parent / "sample_data" / "invented_season"
BY_FAMILY = "by generation and family"
ALL_FAMILIES = "all families"
ALL_PLANTS = "all plants"
CHOOSE = "choose …"


class Mend(NamedTuple):
    """What a spelling in a column means: a class, a number, a family, or "?"."""

    column: str
    typed: str
    meaning: str

    @property
    def words(self) -> str:
        """'orannge read as orange'."""
        meant = NOT_SCORED if self.meaning == "?" else show(self.meaning)
        return f"{show(self.typed)} read as {meant}"


# --- the season at hand --------------------------------------------------------------


def season_at_hand(folder: str | Path = OWN_SEASON) -> Season:
    """The season loaded in the start notebook; the invented one if there is none.

    Parameters
    ----------
    folder : where `start` keeps the grower's season.
    """
    own = Path(folder)
    return load_season(own if (own / "plants.csv").exists() else INVENTED_SEASON)


class LoadTable(Panel):
    """Pick the files of a season; see what was understood and what needs mending."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.picker = widgets.FileUpload(
            accept=".csv,.tsv,.txt,.xlsx", multiple=True, description="Pick your table",
            tooltip="One workbook, or the files plants, families and traits",
            layout=widgets.Layout(width="16em"),
        )  # fmt: skip
        back = button("Back to the invented season", "Your own table is kept beside it")
        super().__init__("Load your own table", {"picked": self.picker}, self._answer)
        back.on_click(self._forget)
        self.children = (self.picker, back, self.said)

    def _answer(self, picked: tuple[Any, ...]) -> str:
        if not picked:
            return self._in_use()
        try:
            aside, mends = keep_files(picked, self.folder)
        except BreedkitError as error:
            return alert(error) + self._in_use("still what the other notebooks use")
        return _put_aside_words(aside) + _mends_words(mends) + self._in_use()

    def _in_use(self, how: str = "what the other notebooks use now") -> str:
        """Which season it is, and what is in it."""
        if not (self.folder / "plants.csv").exists():
            return f"<p>The invented season is {how}.</p>{season_html(season_at_hand(self.folder))}"
        where = escape(self.folder.name)
        rows = f"A copy lies in the folder {where}; rows are numbered as in your own file."
        return f"<p>Your season is {how}. {rows}</p>{season_html(season_at_hand(self.folder))}"

    def _forget(self, _: widgets.Button) -> None:
        try:
            aside = put_aside(self.folder)
        except BreedkitError as error:
            self.said.value = alert(error)
            return
        self._moving = True
        self.picker.value = ()
        self._moving = False
        self.refresh()
        self.said.value = _put_aside_words(aside) + self.said.value


def load_table(folder: str | Path = OWN_SEASON) -> LoadTable:
    """Pick the files of a season; see what was understood and what needs mending."""
    return LoadTable(Path(folder))


def keep_files(picked: tuple[Any, ...], folder: Path) -> tuple[Path | None, list[Mend]]:
    """Load the picked files and keep them: as they came in `as_loaded`, tidied beside it.

    Nothing is touched unless the files can be loaded; what was kept before is put aside,
    but its mends hold in the new season wherever they can.

    Returns
    -------
    aside : where the season that was kept before lies now, if there was one.
    mends : those of its mends that hold here too.
    """
    arriving = folder.with_name(f"{folder.name}_arriving")
    came, tidied = arriving / "your files", arriving / "tidied"
    shutil.rmtree(arriving, ignore_errors=True)
    came.mkdir(parents=True)
    try:
        names = [Path(file["name"]).name for file in picked]
        for name, file in zip(names, picked, strict=True):
            (came / name).write_bytes(bytes(file["content"]))
        season = load_season(came / names[0] if len(names) == 1 else came)
        season.save(tidied)
        season, mends = _mend_again(season, _mends_in(folder), _mends_in(tidied))
        if mends:
            season.save(tidied)
        came.rename(tidied / "as_loaded")
        aside = put_aside(folder)
        tidied.rename(folder)
    finally:
        shutil.rmtree(arriving, ignore_errors=True)
    return aside, mends


def _mends_in(folder: Path) -> list[Mend]:
    """The mends of a kept season; none if its list of traits is not there, or spoilt."""
    try:
        traits, _ = read_traits(read_table(folder / "traits.csv", ("trait",), "traits"))
    except TableError:
        return []
    return [Mend(trait.name, *pair) for trait in traits for pair in trait.also_typed]


def _mend_again(season: Season, before: list[Mend], known: list[Mend]) -> tuple[Season, list[Mend]]:
    """The season with the mends made before, and which of them hold: not those it knows."""
    decided = {(fold(m.column), fold(m.typed)) for m in known}
    held = []
    for mend in before:
        if (fold(mend.column), fold(mend.typed)) in decided:
            continue
        try:
            season = season.mend(mend.column, {mend.typed: mend.meaning})
        except TableError:  # no such trait, spelling or class in this table
            continue
        held.append(mend)
    return season, held


def put_aside(folder: Path) -> Path | None:
    """Rename a kept season, if there is one, to the first free of my_season_old1, ..._old2, ...

    TableError if another program holds it fast.
    """
    if not folder.exists():
        return None
    number = 1
    while (old := folder.with_name(f"{folder.name}_old{number}")).exists():
        number += 1
    try:
        folder.rename(old)
    except OSError as why:
        what = f"cannot be put aside: {why.strerror}"
        advice = "Close its tables in your spreadsheet program and try again."
        raise TableError(Problem(folder.name, what, advice=advice)) from why
    return old


def _put_aside_words(aside: Path | None) -> str:
    where = escape(aside.name) if aside else ""
    return f"<p>What you had loaded before is kept in the folder {where}.</p>" if where else ""


def _mends_words(mends: list[Mend]) -> str:
    if not mends:
        return ""
    more = len(mends) > 1
    how_many = f"{len(mends):,} mends made before hold" if more else "1 mend made before holds"
    said = listing([m.words for m in mends])
    return (
        f"<p>{how_many} here too: {escape(said)}. "
        "To begin without, go back to the invented season, then pick again.</p>"
    )


def season_html(season: Season) -> str:
    """What was understood of a season, and every line that needs a look."""
    problems = season.problems
    parts = [season.to_html(notes=False)]
    for severity, words in (
        ("mend", "Not used until mended"),
        ("check", "Used as typed, but worth a look"),
        ("note", "Good to know"),
    ):
        lines = problems[problems["severity"] == severity]
        if lines.empty:
            continue
        sources = lines["source"].unique()
        place = f", in {show(sources[0])}" if len(sources) == 1 else ""
        title = f"{words}{place} ({len(lines):,})"
        parts.append(scrolling(what_they_say(lines), title, longest=300))
    return "".join(parts)


# --- look around ---------------------------------------------------------------------


class LookAround(Panel):
    """Any trait by family or against another, and the plants behind a bar."""

    def __init__(self, season: Season):
        self.season = season
        trait = dropdown("Trait", named(season.trait_names))
        against = dropdown("Shown", [(BY_FAMILY, "")])
        family = dropdown("Families", [(ALL_FAMILIES, "")])
        shown = dropdown("List", [(ALL_PLANTS, "")])
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
        if trait is None:
            return
        others = [t for t in season.trait_names if t != trait]
        labels = family_labels(season)
        classes = season.trait(trait).classes if season.trait(trait).has_classes else ()
        offer(
            controls["against"],
            [(BY_FAMILY, ""), *((f"against {show(t)}", t) for t in others)],
        )
        offer(controls["family"], [(ALL_FAMILIES, ""), *((show(v), k) for k, v in labels.items())])
        offer(
            controls["shown"],
            [(ALL_PLANTS, ""), *named(classes), (f"plants {NOT_SCORED}", NOT_SCORED)],
        )

    def _answer(self, trait: str | None, against: str, family: str, shown: str) -> str:
        if trait is None:
            return "<p>This table has no trait yet: a column for what you see on the plants.</p>"
        view = overview.look_around(
            self.season, trait, against or None, family or None, shown or None
        )
        behind = view.plants_behind
        title = f"{plants(len(behind))} {show(shown) if shown else 'in all'}"
        return (
            f"<p><strong>{escape(view.verdict)}</strong></p>{picture(view)}"
            f"<details><summary>{escape(title)}</summary>{scrolling(behind, title)}</details>"
        )


def look_around(season: Season) -> LookAround:
    """Any trait by family or against another, and the plants behind a bar."""
    return LookAround(season)


class MendSpelling(Panel):
    """Say once what a spelling means; `looking` shows it, and `folder` keeps it if it is there."""

    def __init__(self, looking: LookAround, folder: Path):
        self.looking, self.folder = looking, folder
        self.before: list[tuple[Season, str]] = []  # season before, what was mended; latest last
        spelling = dropdown("Spelling", _spelling_options(looking.season))
        self.meaning = dropdown("means", [(CHOOSE, "")])
        mend = button("Mend it everywhere", "In every row of the table")
        undo = button("Undo the last mend", "As it was before; until you run the page again")
        controls = {"spelling": spelling, "meaning": self.meaning}
        self._offer_meanings(spelling.value)
        super().__init__("Mend a spelling", controls, self._answer, self._follow)
        mend.on_click(self._mend)
        undo.on_click(self._undo)
        self.children = (spelling, self.meaning, mend, undo, self.said)

    def _follow(self, moved: str) -> None:
        if moved == "spelling":
            self._offer_meanings(self.controls["spelling"].value)

    def _offer_meanings(self, spelling: Spelling | str, suggest: bool = True) -> None:
        """What the spelling can mean. Only a listed problem has a suggestion."""
        options: Options = [(CHOOSE, "")]
        near = None
        if isinstance(spelling, Spelling):
            sound = sound_meanings(self.looking.season, spelling)
            options += named(sound)
            if spelling.column != "family":
                options.append((NOT_SCORED, "?"))
            near = did_you_mean(spelling.typed, sound) if spelling.listed and suggest else None
        self.meaning.options = options
        self.meaning.value = near or ""

    def _answer(self, spelling: Spelling | str, meaning: str) -> str:
        if not isinstance(spelling, Spelling):
            return "<p>No spelling needs mending. To rename a class, choose it in the list.</p>"
        typed, column = escape(show(spelling.typed)), escape(show(spelling.column))
        rows = count_rows(rows_typed(self.looking.season, spelling))
        if not meaning:
            choose = "Choose what it means."
            if not self._has_classes(spelling):
                choose = "Type the number in your table and pick it again."
            return f"<p><q>{typed}</q> in {column} stands in {rows}. {choose}</p>"
        meant = escape(show(NOT_SCORED if meaning == "?" else meaning))
        return f"<p>Read <q>{typed}</q> in {column} as <strong>{meant}</strong>, in {rows}?</p>"

    def _has_classes(self, spelling: Spelling) -> bool:
        """Whether one can choose what it means: a number that was meant is not in a list."""
        column = spelling.column
        return column == "family" or self.looking.season.trait(column).has_classes

    def _mend(self, _: widgets.Button) -> None:
        spelling, meaning = (self.controls[c].value for c in ("spelling", "meaning"))
        if not isinstance(spelling, Spelling):
            self.said.value = self._answer(spelling, meaning)
        elif not meaning:
            if self._has_classes(spelling):
                self.said.value = alert(f"Choose first what {show(spelling.typed)} means.")
            else:
                self.said.value = self._answer(spelling, meaning)
        else:
            season = self.looking.season
            rows = count_rows(rows_typed(season, spelling))
            try:
                mended = season.mend(spelling.column, {spelling.typed: meaning})
                kept = self._keep(mended)
            except BreedkitError as error:
                self.said.value = alert(error)
                return
            done = f"{Mend(spelling.column, spelling.typed, meaning).words}, in {rows}."
            self.before.append((season, done))
            self._use(mended, f"Mended: {done} The panel above shows it. {kept}")

    def _undo(self, _: widgets.Button) -> None:
        if not self.before:
            self.said.value = alert("There is no mend to undo.")
            return
        try:
            kept = self._keep(self.before[-1][0])
        except BreedkitError as error:
            self.said.value = alert(error)
            return
        season, done = self.before.pop()
        self._use(season, f"Undone: {done} {kept}")

    def _keep(self, season: Season) -> str:
        """Save in place of the season on show; say what was done."""
        if not (self.folder / "plants.csv").exists():
            return ""
        # Another table may have been loaded since, or a cell put right in the kept one.
        if not season_at_hand(self.folder).plants.equals(self.looking.season.plants):
            return (
                f"It is not kept: the folder {self.folder.name} holds something else by now. "
                "Run this notebook again to work on that."
            )
        season.save(self.folder)
        return f"It is kept in the folder {self.folder.name}."

    def _use(self, season: Season, done: str) -> None:
        """Show a season. No meaning is suggested now: a second press must not mend another."""
        self.looking.use(season)
        self._moving = True
        offer(self.controls["spelling"], _spelling_options(season))
        self._offer_meanings(self.controls["spelling"].value, suggest=False)
        self._moving = False
        self.refresh()
        self.said.value = f'<p role="status">{escape(done)}</p>{self.said.value}'


def mend_spelling(looking: LookAround, folder: str | Path = OWN_SEASON) -> MendSpelling:
    """Say once what a spelling means; the panel `looking` then shows the mended season."""
    return MendSpelling(looking, Path(folder))


def _spelling_options(season: Season) -> Options:
    found = spellings(season)
    options: Options = [
        (f"{show(s.typed, longest=30)} in {show(s.column, longest=30)}", s) for s in found
    ]
    return options if found and found[0].listed else [("nothing needs mending", ""), *options]
