"""Guided procedures for people who take electronics apart and must put everything back.

This module holds the version and nothing else: importing the package stays free of cost. The rooms are
procedure, session, store, camera, speech, review and window; DEVELOPERS.md says which may know which.
"""

__version__ = "0.1.0"
