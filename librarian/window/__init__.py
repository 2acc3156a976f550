"""The window: shows and asks, decides nothing. The only room that knows Qt."""
