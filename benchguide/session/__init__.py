"""What is happening: commands, events, and the fold that turns events into state. Pure: time is passed in."""
