"""One crank, its parts and its gas."""
