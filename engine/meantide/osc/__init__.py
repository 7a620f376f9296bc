"""Open Sound Control 1.0: bytes to values and back, streams, address patterns; nothing does I/O."""
