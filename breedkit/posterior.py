"""What every plant of a register can be, given all scores: the likelihood read backwards.

The likelihood sums hidden plants out, offspring first (`breedkit.likelihood`). On the way
back, parents first, the joint chances Q of the plants above are known, and for a hidden
plant x that says M(x) by its own score and its offspring,

    P(x) = M(x) * sum over parents p of  Q(p) P(x | p) / sum over x' of P(x' | p) M(x').

A plant without offspring is one of the n_c that were counted in its class c, so that its
score is in Q once already; its own part is taken out and put back with its genotype g named:

    P(g) = sum over p of  Q(p) P(g | p) P(c | g) / s_c(p),   s_c = sum over g of P(g | p) P(c | g).

A plant that was not scored says nothing: "not scored" is a class that every genotype shows.
All plants of one class and family are alike, and families of one recipe go together.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from breedkit.elimination import ratio
from breedkit.evidence import Alike, Evidence
from breedkit.likelihood import Candidates, Pass


class Posterior(NamedTuple):
    """The chances of the genotypes, for each candidate (or season) and rate of mis-scoring.

    Attributes
    ----------
    log_likelihood : (candidates, rates). Where it is -inf, all chances are 0.
    plants : (candidates, rates, states, hidden plants), in the order of
        `evidence.structure.plants`.
    sibs : (candidates, rates, families, classes and then "not scored", states): a plant
        without offspring, families in the order of `evidence.counts`. Of a class that no
        plant of the family was counted in, this is what the others leave.
    """

    log_likelihood: np.ndarray
    plants: np.ndarray
    sibs: np.ndarray


def posterior(evidence: Evidence, candidates: Candidates, mixing: np.ndarray) -> Posterior:
    """What every plant can be.

    Parameters
    ----------
    evidence : the scores; `Evidence.of(..., whole=True)` for families without any as well.
    candidates, mixing : as for `breedkit.likelihood.log_likelihoods`.
    """
    up = Pass(evidence, candidates, mixing)
    total = up.total(back=True)
    back = _Back(up)
    return Posterior(total, back.plants(), back.sibs())


class _Back:
    """The way back over a register, after the likelihood's own pass `up`."""

    def __init__(self, up: Pass):
        self.up, self.structure = up, up.structure
        self.possible = np.isfinite(up.sums)[..., None, None].astype(float)
        self.known = np.zeros_like(up.message)

    def plants(self) -> np.ndarray:
        """The chances of the hidden plants, parents before offspring."""
        for n in self.structure.core:
            self.known[..., self.structure.at[n]] = self.up.core.joint((n,))
        self.known *= self.possible
        steps = zip(self.structure.steps, self.up.said, strict=True)
        for alike, (said, whole) in reversed(list(steps)):
            weight = ratio(self._above(alike), whole)
            self.known[..., alike.at] = said * (_turned(self.up.flat(alike)) @ weight)
        return self.known

    def sibs(self) -> np.ndarray:
        """The chances of the plants that were counted, and of those not scored."""
        written = _turned(self.up.written)[:, :, None]
        row = {node: i for i, node in enumerate(self.up.evidence.counts)}
        states, classes = written.shape[4], written.shape[3]
        found = np.empty((*self.up.sums.shape, len(row), classes + 1, states))
        for alike, shares in zip(self.structure.families, self.up.shares, strict=True):
            chances = self.up.flat(alike)[:, :, None]
            above = _turned(self._above(alike))[..., None, :]  # members, 1, states of the given
            at = [row[n] for n in alike.members]
            seen = ratio(above, _turned(shares)[:, :, None])
            found[:, :, at, :-1] = (seen @ chances) * written
            found[:, :, at, -1:] = above @ chances
        return found

    def _above(self, alike: Alike) -> np.ndarray:
        """Joint chances of what each is given by: (candidates, rates, states of it, members)."""
        match len(alike.given[0]):
            case 0:
                return np.repeat(self.possible, len(alike.members), axis=3)
            case 1:
                return self.known[..., alike.each]
            case _:
                joint = [self.up.core.joint(plants) for plants in alike.given]
                flat = np.stack([j.reshape(*j.shape[:2], -1) for j in joint], axis=-1)
                return flat * self.possible


def _turned(array: np.ndarray) -> np.ndarray:
    """The last two axes changed for each other."""
    return array.swapaxes(-1, -2)
