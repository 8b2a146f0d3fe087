"""Linear Gaussian conditioning: whitened rows and a Gaussian prior in, posterior and evidence out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, cholesky, solve_triangular

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Gaussian posterior of θ. mean: (p,); root: lower Cholesky factor of the precision, (p, p);
    log_evidence: log ∫ likelihood × prior dθ, up to the constant −(r/2) log 2π."""

    mean: FloatArray
    root: FloatArray
    log_evidence: float

    def covariance(self) -> FloatArray:
        """Covariance of θ, shape (p, p)."""
        return np.asarray(cho_solve((self.root, True), np.eye(len(self.mean))))

    def draw(self, normal: FloatArray) -> FloatArray:
        """Samples of θ from standard normal numbers of shape (n, p); same shape back."""
        return np.asarray(self.mean + solve_triangular(self.root, normal.T, lower=True, trans="T").T)


def condition(  # noqa: PLR0917 - the six parts of one formula
    information: FloatArray,
    score: FloatArray,
    chi2: float,
    logdet: float,
    prior_mean: FloatArray,
    prior_precision: FloatArray,
) -> Posterior:
    """Posterior of θ ~ N(prior_mean, prior_precision⁻¹) given residuals e_0 + E θ of unit variance.

        Λ = P + EᵀE,   m = Λ⁻¹ (P μ − Eᵀe_0),
        2 log Z = −e_0ᵀe_0 − μᵀPμ + mᵀΛm + log|P| − log|Λ| − Σ log S

    information: EᵀE, (p, p); score: Eᵀe_0, (p,); chi2: e_0ᵀe_0; logdet: Σ log S of the whitening.
    Raises numpy.linalg.LinAlgError where the precision is not finite and positive definite.
    """
    _require_finite(information, score)
    root = np.asarray(cholesky(prior_precision + information, lower=True))
    pull = prior_precision @ prior_mean
    mean = np.asarray(cho_solve((root, True), pull - score))
    prior_root = np.asarray(cholesky(prior_precision, lower=True))
    value = -chi2 - prior_mean @ pull + np.sum((root.T @ mean) ** 2) - logdet
    value += 2.0 * np.sum(np.log(np.diag(prior_root))) - 2.0 * np.sum(np.log(np.diag(root)))
    return Posterior(mean, root, 0.5 * float(value))


def _require_finite(information: FloatArray, score: FloatArray) -> None:
    if not (np.all(np.isfinite(information)) and np.all(np.isfinite(score))):
        raise np.linalg.LinAlgError("information and score must be finite")


def keep_as_stated(
    information: FloatArray,
    score: FloatArray,
    prior_mean: FloatArray,
    prior_precision: FloatArray,
    places: NDArray[np.intp],
) -> tuple[FloatArray, FloatArray]:
    """Information and score after which some parameters keep their prior, while the others still feel its width.

    For inputs that the rows can't tell but that a small misfit of theirs would move far: mean 0 and the prior's own
    marginal covariance S_kk afterwards, whatever the others do, though prior or rows link them. With the joint
    precision J, prior P and prior mean m, their information becomes J_ko J_oo⁻¹ J_ok + S_kk⁻¹ − P_kk and their score
    (P m)_k − J_ko m_o, m_o the others' mean with the kept ones at their prior mean, which must be 0 ("consider"
    parameters; Schmidt 1966, Advances in Control Systems 3, 293–340, from memory).

    information: EᵀE, (p, p); score: Eᵀe_0, (p,); places: (k,). Returns changed copies. Raises ValueError for a prior
    mean off 0, numpy.linalg.LinAlgError where information or score is not finite.
    """
    _require_finite(information, score)
    if np.any(prior_mean[places] != 0.0):
        raise ValueError(f"prior_mean: the kept parameters' means must be 0, got {prior_mean[places]}")
    others = np.setdiff1d(np.arange(len(score)), places)
    joint = prior_precision + information
    root = cholesky(joint[np.ix_(others, others)], lower=True)
    link = joint[np.ix_(others, places)]
    mean = cho_solve((root, True), (prior_precision @ prior_mean - score)[others])
    information, score = information.copy(), score.copy()
    information[np.ix_(places, places)] = link.T @ cho_solve((root, True), link)
    tie = prior_precision[np.ix_(others, places)]
    if np.any(tie):
        lost = tie.T @ np.linalg.solve(prior_precision[np.ix_(others, others)], tie)  # P_kk − S_kk⁻¹
        information[np.ix_(places, places)] -= lost
    score[places] = (prior_precision @ prior_mean)[places] - link.T @ mean
    return information, score
