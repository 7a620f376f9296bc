"""The live engine: sockets, clocks and devices around a performance."""
