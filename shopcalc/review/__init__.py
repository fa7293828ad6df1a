"""Looking back: plans against the log, whether it learns, what an hour earned, which cutters are due."""

from shopcalc.review.earning import Earned, KindEarned, by_kind, earnings
from shopcalc.review.edges import EdgeUse, edge_uses
from shopcalc.review.learning import LEAST_DAYS, Trend, trend, trends
from shopcalc.review.looking_back import Review, review
from shopcalc.review.plans import Plan, kinds_of_work, read_plans
from shopcalc.review.taken import Compared, compared

__all__ = [
    "LEAST_DAYS", "Compared", "Earned", "EdgeUse", "KindEarned", "Plan", "Review", "Trend", "by_kind", "compared",
    "earnings", "edge_uses", "kinds_of_work", "read_plans", "review", "trend", "trends",
]  # fmt: skip
