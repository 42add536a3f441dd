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
    total = up.total()
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
            self.known[..., self.structure.at[n]] = self._core((n,))[..., 0]
        for alike in reversed(self.structure.steps):
            message = self.up.message[..., alike.at]
            top = message.max(axis=2, keepdims=True)
            top[~np.isfinite(top)] = 0
            said = np.exp(message - top)
            chances = self._flat(alike)
            weight = _divided(self._above(alike), chances @ said)
            self.known[..., alike.at] = said * (_turned(chances) @ weight)
        return self.known

    def sibs(self) -> np.ndarray:
        """The chances of the plants that were counted, and of those not scored."""
        written = self.up.written
        every = np.concatenate([written, np.ones((*written.shape[:3], 1))], axis=3)
        row = {node: i for i, node in enumerate(self.up.evidence.counts)}
        shape = (*self.up.sums.shape, len(row), every.shape[3], every.shape[2])
        found = np.zeros(shape)
        for alike in self.structure.families:
            chances = self._flat(alike)
            shares = chances @ every  # (candidates, rates, given, classes)
            above = self._above(alike)  # (candidates, rates, given, members)
            weight = _divided(_turned(above)[..., None, :], _turned(shares)[:, :, None])
            at = [row[n] for n in alike.members]
            found[:, :, at] = (weight @ chances[:, :, None]) * _turned(every)[:, :, None]
        return found

    def _flat(self, alike: Alike) -> np.ndarray:
        """Distributions of these plants: (candidates, rates, all states of the given, states)."""
        chances = self.up.chances(alike.home)
        return chances.reshape(*chances.shape[:2], -1, chances.shape[-1])

    def _above(self, alike: Alike) -> np.ndarray:
        """Joint chances of what each is given by: (candidates, rates, states of it, members)."""
        match len(alike.given[0]):
            case 0:
                return np.repeat(self.possible, len(alike.members), axis=3)
            case 1:
                return self.known[..., alike.each]
            case _:
                return np.concatenate([self._core(plants) for plants in alike.given], axis=-1)

    def _core(self, plants: tuple[int, ...]) -> np.ndarray:
        """Joint chances of plants of the core: (candidates, rates, all their states, 1)."""
        joint = self.up.core.joint(plants)
        return joint.reshape(*joint.shape[:2], -1, 1) * self.possible


def _turned(array: np.ndarray) -> np.ndarray:
    """The last two axes changed for each other."""
    return array.swapaxes(-1, -2)


def _divided(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """part / whole; 0 where the whole is 0, which can only be where the part is."""
    out = np.zeros(np.broadcast_shapes(part.shape, whole.shape))
    return np.divide(part, whole, out=out, where=whole > 0)
