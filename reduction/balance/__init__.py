"""The heat balance of the room over one window, term by term."""
