"""The phased model: the flow network stepped through the crank cycle, with storage, no inertia."""
