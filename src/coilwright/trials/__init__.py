"""Trials: what was measured laid over what was predicted, and what that says about the uncertain quantities."""
