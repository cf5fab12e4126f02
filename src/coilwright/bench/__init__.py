"""The local page: move the coil and watch. It shows what the steps compute and holds no physics."""
