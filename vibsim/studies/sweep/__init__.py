"""Many points of one case: axes, plan, engines of work, a journal that loses no point, the sweep file."""
