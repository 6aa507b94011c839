"""Widgets of the bench, one to a module. They show values and emit signals; none knows the driver or a store.

Each takes the `Theme` first, has `set_theme` for a change of look, and derives every size from it.
"""
