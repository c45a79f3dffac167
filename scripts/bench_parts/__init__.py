"""The parts of scripts/bench: invented scenes, baselines, the floor and what is printed."""
