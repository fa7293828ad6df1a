"""The order of a job's loads: what must come before what, and the order that costs least beside the cutting itself."""

from shopcalc.loading.batches import Batch, Precedence, Standards, Work, work
from shopcalc.loading.finding import plan_loads
from shopcalc.loading.pricing import LoadPlan, Step, with_order

__all__ = ["Batch", "LoadPlan", "Precedence", "Standards", "Step", "Work", "plan_loads", "with_order", "work"]
