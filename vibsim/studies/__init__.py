"""Many runs, one question: plain functions of a case that return plain data."""
