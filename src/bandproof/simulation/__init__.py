"""Air in seconds: vehicles of one arrangement, simulated together by ISO 6358 flow between isothermal volumes."""
