"""What should happen: part maps, procedures, and the rules that follow from them. Pure: no Qt, no camera."""
