"""The water: dosing, plausibility, demand, reactor and limewater."""
