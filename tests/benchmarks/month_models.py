"""Regression to the month, made to give probabilities of months as a classifier does.

The forest gives the months of the training instruments that end in the same leaves (Meinshausen
2006, "Quantile regression forests", *Journal of Machine Learning Research* 7, 983-999); boosting
gives its prediction with the errors that it made on instruments left out. Both are blurred by a
few months, how far is tuned.
"""

import numpy as np
from sklearn.ensemble import HistGradientBoostingRegressor, RandomForestRegressor

TREES = 300
INNER_FOLDS = 3


class MonthForest:
    """A random forest of months."""

    def __init__(self, leaf, blur):
        self.forest = RandomForestRegressor(
            TREES, min_samples_leaf=leaf, max_features=1 / 3, random_state=0, n_jobs=-1
        )
        self.blur = blur

    def fit(self, codes, months):
        self.classes_ = np.arange(months.max() + 1)
        self.forest.fit(codes, months)
        leaves = self.forest.apply(codes).T
        self.tables = [_shares(leaf, months, len(self.classes_)) for leaf in leaves]
        return self

    def predict_proba(self, codes):
        leaves = self.forest.apply(codes).T
        sums = sum(table[leaf] for table, leaf in zip(self.tables, leaves, strict=True))
        near = _near(np.subtract.outer(self.classes_, self.classes_), self.blur)
        made = sums @ near
        return made / made.sum(axis=1, keepdims=True)


class MonthBoosting:
    """Gradient boosting of months, with the errors on instruments left out."""

    def __init__(self, leaves, blur, named):
        self.settings = {
            "learning_rate": 0.1,
            "max_leaf_nodes": leaves,
            "max_iter": 150,
            "min_samples_leaf": 5,
            "categorical_features": named,
            "early_stopping": False,
            "random_state": 0,
        }
        self.blur = blur

    def fit(self, codes, months):
        self.classes_ = np.arange(months.max() + 1)
        fold = np.random.default_rng(0).permutation(len(months)) % INNER_FOLDS
        self.errors = np.empty(len(months))
        for part in range(INNER_FOLDS):
            held = fold == part
            self.errors[held] = months[held] - self._fitted(codes[~held], months[~held]).predict(
                codes[held]
            )
        self.model = self._fitted(codes, months)
        return self

    def predict_proba(self, codes):
        grid = np.arange(-len(self.classes_), len(self.classes_), 0.25)
        density = _near(np.subtract.outer(grid, self.errors), self.blur).sum(axis=1)
        away = self.classes_ - self.model.predict(codes)[:, None]
        made = np.interp(away, grid, density) + 1e-12
        return made / made.sum(axis=1, keepdims=True)

    def _fitted(self, codes, months):
        return HistGradientBoostingRegressor(**self.settings).fit(codes, months)


def _shares(leaf, months, count):
    """The shares of the months among the training instruments in each leaf."""
    table = np.zeros((leaf.max() + 1, count))
    np.add.at(table, (leaf, months), 1.0)
    return table / np.maximum(table.sum(axis=1, keepdims=True), 1)


def _near(away, blur):
    return np.exp(-0.5 * (away / blur) ** 2)
