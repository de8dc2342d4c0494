"""Pages, the live room, the wearer's screen and the JSON API. Holds no rule of the trade."""
