"""An invented organisation, generated from a fixed seed. Nothing here is real, and no rule of the trade lives here."""
