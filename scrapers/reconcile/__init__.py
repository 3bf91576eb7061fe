"""Claims weighed against each other: one price that a visitor pays, or an honest doubt."""
