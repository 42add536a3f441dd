"""The panel about descent: where does this line come from?

A family, or a plant of it, is chosen; its pedigree is drawn with that line emphasised, and
below stand its founders' shares, what is still heterozygous, and how that would go on with
more selfings. Two things the register does not say are asked: whether the founders breed
true, and which crop it is, for the number of chromosome pairs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from breedkit import canvas
from breedkit.controls import Options, Panel, alert, dropdown, named, offer
from breedkit.errors import BreedkitError
from breedkit.familytree import draw_pedigree, homes_of
from breedkit.kinship import Ancestry, Descent, ancestry
from breedkit.results import html_table, show

if TYPE_CHECKING:
    from breedkit.tables import Season

ANY_PLANT: Options = [("any plant of it", "")]
FOUNDERS: Options = [("breed true", 1.0), ("are single plants, not inbred", 0.0)]
# Chromosome pairs: any textbook of botany; from memory. A hundred centimorgans each is a
# round number.
CROPS: Options = [
    ("pepper or tomato: 12 chromosome pairs", 12),
    ("bean: 11 chromosome pairs", 11),
    ("squash: 20 chromosome pairs", 20),
]
PAIR = 100.0
MORE_SELFINGS = 6
NO_FAMILY = "<p>No plant of this table has a family: type the family of each plant.</p>"


def family_tree(season: Season) -> Panel:
    """Choose a family or plant; see its descent drawn, and what is expected of it."""
    register = _register(season)
    family = dropdown("Family", _families(season, register), "Where does it come from?")
    plant = dropdown("Plant", ANY_PLANT, "One plant of the family, or any")
    founders = dropdown("Founders", FOUNDERS, "What the first parents are taken to be")
    pairs = dropdown("Crop", CROPS, "For the number of chromosome pairs")
    family.value = _nearest(register) or family.value

    def answer(family: str | None, plant: str, founders: float, pairs: int) -> str:
        known = ancestry(season, inbred=founders, chromosomes=[PAIR] * pairs)
        if family is None:
            return NO_FAMILY
        line = known.of(plant or family)
        try:
            drawn = canvas.html_of(lambda: draw_pedigree(season, plant or family))
        except BreedkitError as error:
            drawn = alert(error)
        return line.to_html(drawn) + _by_selfing(line)

    def adapt(moved: str) -> None:
        if moved == "family":
            offer(plant, ANY_PLANT + _plants(season, family.value))

    adapt("family")
    controls = {"family": family, "plant": plant, "founders": founders, "pairs": pairs}
    return Panel("Where does this line come from?", controls, answer, adapt)


def _register(season: Season) -> Ancestry | None:
    try:
        return ancestry(season)
    except BreedkitError:  # the answer says so in words
        return None


def _families(season: Season, register: Ancestry | None) -> Options:
    """Each family with its generation; those of unknown parents last."""
    options: Options = []
    for name in register.names if register else ():
        what = register.of(name).what if register else ""
        options.append((f"{show(name)} ({what})" if what else show(name), name))
    followed = {name for _, name in options}
    return [*options, *named(name for name in season.family_names if name not in followed)]


def _nearest(register: Ancestry | None) -> str | None:
    """The family nearest to breeding true, of those that were bred."""
    bred = [n for n in register.names if n not in register.founders] if register else []
    return str(register.inbreeding[bred].idxmax()) if register and bred else None


def _plants(season: Season, family: str | None) -> Options:
    """The plants of a family."""
    return named(plant for plant, home in homes_of(season.plants).items() if home == family)


def _by_selfing(line: Descent) -> str:
    """What is still heterozygous after some more selfings, as a table."""
    if line.family in line.founders:
        return ""
    table = line.by_selfing(MORE_SELFINGS).map(lambda share: f"{100 * share:.3g} %")
    return html_table(table, f"{show(line.name)} selfed on: expected of its genes")
