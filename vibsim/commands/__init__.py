"""The commands: each module one verb, its options and what it does. Heavy imports wait until a command runs."""
