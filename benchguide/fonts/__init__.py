"""B612 and B612 Mono, drawn to be read in cockpits; SIL Open Font License 1.1, see OFL.txt. Data only, no code."""
