"""breedkit: a workbench for people who cross plants.

>>> import breedkit as bk
>>> bk.ratio_test([44, 16], "3:1")                     # one family, one ratio
>>> season = bk.load_season("my_season")               # your own tables
>>> season.counts("colour")                            # families by classes
>>> model = bk.catalogue()["single dominant gene"]
>>> model.expected("F2", parents=("AA", "aa"))         # exact fractions
>>> bk.judge_family(season, "colour", "F2")            # is it one gene?

Names are looked up on first use, so that importing breedkit loads nothing heavy.
"""

from __future__ import annotations

from importlib import import_module

_HOME = {
    "InheritanceModel": "models",
    "Season": "tables",
    "ancestry": "kinship",
    "catalogue": "models",
    "compare_models": "compare",
    "cross_check": "crosscheck",
    "draw_pedigree": "familytree",
    "effective_factors": "selection",
    "every_rule": "everyrule",
    "first_choice": "overview",
    "format_pedigree": "notation",
    "generation_means": "genmeans",
    "heterogeneity_test": "ratios",
    "judge_family": "judge",
    "label_check": "labels",
    "load_counts": "tables",
    "load_season": "tables",
    "look_around": "overview",
    "parse_pedigree": "parsing",
    "pedigree_register": "notation",
    "plant_odds": "odds",
    "progeny_needed": "enough",
    "progeny_test": "progeny",
    "ratio_power": "ratios",
    "ratio_test": "ratios",
    "save_picture": "pictures",
    "scored_twice": "scoring",
    "selection_response": "selection",
    "variance_components": "measured",
}

__all__ = [
    "InheritanceModel",
    "Season",
    "ancestry",
    "catalogue",
    "compare_models",
    "cross_check",
    "draw_pedigree",
    "effective_factors",
    "every_rule",
    "first_choice",
    "format_pedigree",
    "generation_means",
    "heterogeneity_test",
    "judge_family",
    "label_check",
    "load_counts",
    "load_season",
    "look_around",
    "parse_pedigree",
    "pedigree_register",
    "plant_odds",
    "progeny_needed",
    "progeny_test",
    "ratio_power",
    "ratio_test",
    "save_picture",
    "scored_twice",
    "selection_response",
    "variance_components",
]

__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    if name in _HOME:
        value = getattr(import_module(f"breedkit.{_HOME[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"breedkit has no {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
