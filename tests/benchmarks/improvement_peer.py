"""A peer that pours where expected improvement is largest: BoTorch, where it is installed (it is no part of `.[test]`).

Ament et al., Advances in Neural Information Processing Systems 36 (2023), citation from memory: logarithm of the
noisy expected improvement of a batch. What improves is the chance that one casting meets every aim, scatter included.
"""

import warnings

import numpy as np
import torch
from botorch.acquisition.logei import qLogNoisyExpectedImprovement
from botorch.acquisition.objective import GenericMCObjective
from botorch.fit import fit_gpytorch_mll
from botorch.models import ModelListGP, SingleTaskGP
from botorch.models.transforms import Normalize, Standardize
from botorch.optim import optimize_acqf_mixed
from botorch.sampling import SobolQMCNormalSampler
from gpytorch.mlls import SumMarginalLogLikelihood
from race_peers import HIGH, LOW, POURS, Process
from race_world import BOUNDS, READINGS, asked

DOUBLE = torch.float64
SPAN = torch.tensor(np.array([LOW, HIGH]), dtype=DOUBLE)
ENDS = torch.tensor([BOUNDS[name] for name in READINGS], dtype=DOUBLE)
COVER, ROOM = 3, 4


class Improvement(Process):
    """A Gaussian process a reading, and four pours chosen together; the first four as the other process has them."""

    def learn(self):
        points, seen = torch.tensor(np.array(self.world.points), dtype=DOUBLE), torch.tensor(np.array(self.world.seen), dtype=DOUBLE)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a length at its bound, or a reading that never differed, is no failure here
            models = [
                SingleTaskGP(points, seen[:, [k]], input_transform=Normalize(5, bounds=SPAN), outcome_transform=Standardize(1))
                for k in range(len(READINGS))
            ]
            self.model = ModelListGP(*models)
            fit_gpytorch_mll(SumMarginalLogLikelihood(self.model.likelihood, self.model))
        spreads = [model.likelihood.noise.detach().sqrt() * model.outcome_transform.stdvs.detach() for model in models]
        self.noise = torch.cat([spread.reshape(1) for spread in spreads])

    def _met(self, middle, spread):
        normal = torch.distributions.Normal(0.0, 1.0)
        return (normal.cdf((ENDS[:, 1] - middle) / spread) - normal.cdf((ENDS[:, 0] - middle) / spread)).prod(-1)

    def propose(self, room, session):
        if not session:
            return self.first[:POURS]
        torch.manual_seed(session)
        poured = torch.tensor(np.array(self.world.points), dtype=DOUBLE)
        objective = GenericMCObjective(lambda seen, X=None: self._met(seen, self.noise))
        today = [{COVER: cover, ROOM: float(room)} for cover in (0.0, 1.0)]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # an optimiser that stops early has still found good pours
            sampler = SobolQMCNormalSampler(torch.Size([64]), seed=session)
            worth = qLogNoisyExpectedImprovement(self.model, poured, sampler=sampler, objective=objective)
            found, _ = optimize_acqf_mixed(worth, SPAN, q=POURS, num_restarts=4, raw_samples=64, fixed_features_list=today, options={"maxiter": 60})
        return found.detach().numpy()[:, :4].round(1)

    def recommend(self, room, depth):
        points = asked(room, depth)
        with torch.no_grad():
            at = self.model.posterior(torch.tensor(points, dtype=DOUBLE))
            chance = self._met(at.mean, torch.hypot(at.variance.clamp_min(1e-12).sqrt(), self.noise))
        return points[int(chance.argmax())][:4]
