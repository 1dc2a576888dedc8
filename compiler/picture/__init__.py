"""Pictures drawn without a screen: what a camera sees of a mesh, and colours as files store them."""
