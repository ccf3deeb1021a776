"""An invented team with its engines, logs and their known truth, and the script that makes them."""
