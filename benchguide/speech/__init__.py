"""What is heard and said. Plain values in and out; Qt audio classes only, no windows."""
