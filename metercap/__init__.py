"""metercap: measurements of a repair, hands on the probes."""
