"""The panel about single plants: what does this one carry that I cannot see?

A trait, a family and a plant are chosen. What the plant carries is said with its chance,
over all models by weight; the family is drawn, plants of which the same is known in one
bar; and where the plant is open, the progeny test that would settle it is told: how many
selfed offspring to score. The odds of a trait are worked out once for all its plants.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import pandas as pd

from breedkit import canvas
from breedkit.carriers import SURE, OnePlant, PlantOdds
from breedkit.compare import compare_models
from breedkit.controls import Options, Panel, dropdown, named, offer, scrolling
from breedkit.errors import BreedkitError
from breedkit.odds import plant_odds
from breedkit.overview import family_labels, first_choice
from breedkit.progeny import ProgenyTest, progeny_test
from breedkit.results import escape, percent, show
from breedkit.season import NO_FAMILY

if TYPE_CHECKING:
    from breedkit.tables import Season

NO_TRAIT = "<p>No trait of this table has classes, such as red and orange.</p>"
NO_PLANT = "<p>No plant of this table has a family: type the family of each plant.</p>"


def what_it_carries(season: Season) -> Panel:
    """Choose a trait, a family and a plant; see what it can carry, and how to find out."""
    classed = [t for t in season.trait_names if season.trait(t).has_classes]
    trait = dropdown("Trait", named(classed))
    labels = {k: v for k, v in family_labels(season).items() if k != NO_FAMILY}
    family = dropdown("Family", [(show(v), k) for k, v in labels.items()])
    for control, first in zip((trait, family), first_choice(season), strict=True):
        if first:
            control.value = first
    plant = dropdown("Plant", _plants(season, family.value), "What does it carry unseen?")

    @cache
    def odds_of(trait: str) -> PlantOdds:
        return plant_odds(season, trait)

    @cache
    def sown_of(trait: str, look: str) -> ProgenyTest | None:
        relied_on = look and not odds_of(trait).remark
        return _all_alike(season, trait, look) if relied_on else None

    def answer(trait: str | None, family: str | None, plant: str | None) -> str:
        if trait is None:
            return NO_TRAIT
        if family is None:
            return NO_PLANT
        odds = odds_of(trait)
        if family in odds.left_out:
            return f"<p>{escape(f'The parents of {show(family)} are not known.')}</p>"
        if plant is None:
            return f"<p>No plant of {escape(show(family))} has a code in this table.</p>"
        one = odds.plant(plant, family)
        drawn = canvas.html_of(lambda: odds.plot(family, plant))
        remark = f'<p role="status"><strong>{escape(odds.remark)}</strong></p>'
        first = remark if odds.remark else ""
        settled = _to_settle(one, sown_of(trait, one.seen))
        return first + one.to_html(drawn) + settled + _listed(odds, family)

    def adapt(moved: str) -> None:
        if moved == "family":
            offer(plant, _plants(season, family.value))

    controls = {"trait": trait, "family": family, "plant": plant}
    return Panel("What does this plant carry?", controls, answer, adapt)


def _plants(season: Season, family: str | None) -> Options:
    """The plants of a family that have a code."""
    sheet = season.plants
    if "plant" not in sheet or family is None:
        return []
    codes = sheet.loc[sheet["family"].astype(str) == family, "plant"]
    return named(code for code in codes.astype(str) if code)


def _all_alike(season: Season, trait: str, look: str) -> ProgenyTest | None:
    """The progeny test that is just large enough, if all offspring look like the plant.

    By the best model; without offspring where plants of that look always breed true, and None
    where no model can say.
    """
    try:
        best = compare_models(season, trait).best
        if best is None:
            return None
        model = best.model.called(best.classes)
        sown = progeny_test(dict.fromkeys(best.classes, 0), model, shows=look)
        counts = {c: sown.more if c == look else 0 for c in best.classes}
        return progeny_test(counts, model, shows=look)
    except BreedkitError:  # a model with hidden or dying plants, or a look that it lacks
        return None


def _to_settle(one: OnePlant, test: ProgenyTest | None) -> str:
    """What would settle whether a plant breeds true."""
    look = show(one.seen)
    if one.true >= SURE:
        said = f"Nothing more is needed: it breeds true with a chance of {percent(SURE)} or more."
    elif one.true <= 1 - SURE:
        said = f"Nothing more is needed: it does not breed true, with {percent(SURE)} or more."
    elif not one.seen:
        said = "Score the plant itself first; then a progeny test says what it carries."
    elif test is None:
        said = (
            "Self it and score its offspring: one of another class shows what is carried. How "
            "many are enough, no model says here."
        )
    elif not test.n:
        said = (
            f"If {show(test.model)} holds, every {look} plant breeds true. What is open is "
            "whether it was scored rightly: look at it again."
        )
    else:
        said = (
            f"Self it, sow, and score {test.n:,} offspring. If all are {look}, take it as fixed: "
            f"a plant that segregates shows that with chance {percent(float(test.missed))} at "
            f"most, if {show(test.model)} holds. One of another class, if it is no slip, shows "
            "what is carried."
        )
    return f"<h4>What would settle it</h4><p>{escape(said)}</p>"


def _listed(odds: PlantOdds, family: str) -> str:
    """The plants of a family with their chances, as a table that scrolls."""
    table = odds.table()
    table = table[table["family"] == family].drop(columns=["family", *odds.genotypes])
    for column in table.columns[2:]:
        table[column] = [
            "" if pd.isna(p) else percent(min(max(p, 1e-9), 1 - 1e-9)) for p in table[column]
        ]
    return scrolling(table, f"Plants of {show(family)}")
