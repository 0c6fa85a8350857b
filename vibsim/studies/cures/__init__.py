"""What could take a free force or couple away: counterweights, balance shafts, reciprocating mass."""
