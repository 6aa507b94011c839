"""What is kept: the session log in SQLite, photo files, the chain that shows whether anything was altered.

Nothing is imported here, so that importing the room is free; take names from the modules:
`places`, `log`, `photos`, `pulse`, `chain`, `problems`. Documents in, documents out: what an event means is
known in `benchguide.session` only.
"""
