"""The panels that ask about genes: is it one gene in this family, and which model of all?

Like every panel they compute nothing: the values of the controls go to one public function,
and what it says is laid out, with its pictures. What cannot be judged or drawn is said in
words, and the counts are drawn instead.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from breedkit import canvas, overview
from breedkit.compare import compare_models
from breedkit.controls import Options, Panel, alert, dropdown, named, offer, picture
from breedkit.errors import BreedkitError, ModelError
from breedkit.everyrule import MOST_CLASSES, every_rule
from breedkit.judge import judge_family
from breedkit.models import InheritanceModel, catalogue
from breedkit.overview import NOT_SCORED, family_labels, first_choice, spellings
from breedkit.results import escape, listing, plants, show
from breedkit.season import NO_FAMILY
from breedkit.trust import try_out
from breedkit.weights import no_segregation

if TYPE_CHECKING:
    from breedkit.modelcharts import Axes
    from breedkit.tables import Season

NO_CLASSES = (
    "<p>No trait of this table has classes, such as red and orange: there is "
    "nothing to count here. The notebook <em>season</em> shows numbers.</p>"
)
SLIPS: Options = [
    ("as many as the scores suggest", ""),  # None would leave the list blank
    ("none at all", 0.0),
    *((f"{rate} % of the plants", rate / 100) for rate in (1, 2, 5, 10, 15, 20)),
]
NAMED: Options = [("those with a name, all others as one", False)]
TRIED = 40  # seasons that a panel draws
EVERY: Options = [("every rule of two genes by itself", True)]

# --- one gene? -----------------------------------------------------------------------


def one_gene(season: Season) -> Panel:
    """Choose trait and family; read the verdict, see the chart and the plants needed."""
    classed = [t for t in season.trait_names if season.trait(t).has_classes]
    trait = dropdown("Trait", named(classed))
    labels = family_labels(season)
    labels.pop(NO_FAMILY, None)  # of unknown origin: nothing can be expected of these plants
    family = dropdown("Family", [(show(v), k) for k, v in labels.items()])
    for control, first in zip((trait, family), first_choice(season), strict=True):
        if first:
            control.value = first

    def answer(trait: str | None, family: str | None) -> str:
        if family is None:
            return "<p>No plant of this table has a family: type the family of each plant.</p>"
        if trait is None:
            return NO_CLASSES
        counted = overview.look_around(season, trait, family=family)
        first = _mend_first(season, trait)
        try:
            judged = judge_family(season, trait, family)
        except BreedkitError as error:
            return first + alert(error) + picture(counted)
        try:
            return first + judged.to_html(canvas.html_of(judged.plot))
        except ModelError:  # no ratio to draw the counts against
            return first + judged.to_html(picture(counted))

    return Panel("Is it one gene?", {"trait": trait, "family": family}, answer)


# --- which model? --------------------------------------------------------------------


def which_model(season: Season) -> Panel:
    """Choose a trait, how many slips to assume, and what to compare; see all models ranked."""
    trait = dropdown("Trait", named(t for t in season.trait_names if season.trait(t).has_classes))
    trait.value = first_choice(season)[0] or trait.value
    slips = dropdown("Slips", SLIPS, "How many plants are written down as another class")
    models = dropdown("Models", NAMED, "What is compared")

    def answer(trait: str | None, slips: float | str, every: bool) -> str:
        if trait is None:
            return NO_CLASSES
        counted = overview.look_around(season, trait)
        first = _mend_first(season, trait)
        try:
            rules = _every_model(_classes_seen(season, trait)) if every else None
            compared = compare_models(season, trait, rules, None if slips == "" else float(slips))
        except BreedkitError as error:
            return first + alert(error) + picture(counted)
        if compared.best is None:
            return first + compared.to_html(picture(counted))
        pictures = canvas.html_of(compared.plot) + _or_words(compared.plot_families)
        following = f"<h4>What to grow next</h4>{compared.next_family().to_html()}"
        return f"{first}{compared.to_html(pictures)}{following}"

    def adapt(moved: str) -> None:
        seen = 0 if trait.value is None else _classes_seen(season, trait.value)
        offer(models, NAMED + EVERY if 2 <= seen <= MOST_CLASSES else NAMED)

    adapt("trait")
    controls = {"trait": trait, "slips": slips, "every": models}
    return Panel("Which model?", controls, answer, adapt)


def _every_model(classes: int) -> list[InheritanceModel]:
    """The models with a name, and every rule of one and two genes by itself."""
    return list(dict.fromkeys([*catalogue().values(), no_segregation(), *every_rule(classes)]))


def _classes_seen(season: Season, trait: str) -> int:
    """How many classes of a trait at least one plant shows."""
    return int(season.counts(trait).drop(columns=NOT_SCORED).any().sum())


def _or_words(draw: Callable[[], Axes]) -> str:
    """A picture, or why it cannot be drawn."""
    try:
        return canvas.html_of(draw)
    except ModelError as error:
        return f"<p>{escape(error)}</p>"


# --- how far to trust it? --------------------------------------------------------------


def try_truth() -> Panel:
    """Choose a truth and the families scored; see what the comparison makes of drawn seasons."""
    truth = dropdown("Truth", named(catalogue()))
    f2 = dropdown("F2", _plants(10, 20, 40, 80, 160), "Plants scored in the F2")
    back = dropdown("Backcross", _plants(0, 10, 20, 40, 80), "Plants of the backcross to P2")
    f3 = dropdown("F3", _plants(0, 20, 40, 80), "Plants of the F3, from many F2 plants")
    slips = dropdown("Slips", [o for o in SLIPS if o[1] != ""], "Plants written down as another")
    f2.value, back.value, slips.value = 40, 20, 0.02

    def answer(truth: str, f2: int, back: int, f3: int, slips: float) -> str:
        families = {"P1": 5, "P2": 5, "F1": 5, "F2": f2, "BC1(P2)": back, "F3": f3}
        trial = try_out(truth, families, slips, seasons=TRIED)
        return trial.to_html(canvas.html_of(trial.plot))

    controls = {"truth": truth, "f2": f2, "back": back, "f3": f3, "slips": slips}
    return Panel("How far to trust it?", controls, answer)


def _plants(*numbers: int) -> Options:
    return [(plants(n), n) for n in numbers]


# --- what they say first ---------------------------------------------------------------


def _mend_first(season: Season, trait: str) -> str:
    """A line on the classes of a trait that may be slips, yet are counted; else nothing."""
    listed = {s.typed for s in spellings(season) if s.listed and s.column == trait}
    counts = season.counts(trait).sum()
    doubtful = [(c, int(n)) for c, n in counts.items() if c in listed and c != NOT_SCORED and n]
    if not doubtful:
        return ""
    which = listing(f"{show(c)} ({plants(n)})" for c, n in doubtful)
    a_slip = "a slip" if len(doubtful) == 1 else "slips"
    words = f"Mend first, in the notebook season: {which} may be {a_slip}."
    return f'<p role="status"><strong>{escape(words)}</strong></p>'
