"""Bytes to and from the robot: the wire, the session over it, the ports, and a simulated robot behind them."""
