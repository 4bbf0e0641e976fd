"""Week plans and rounds: the planner's Week, the technician's My round, round sheets."""
