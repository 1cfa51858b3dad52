"""The window: pages and parts over the services; the only room that knows Qt."""
