"""The form `live`: the drivers travel with the file as a behaviour graph of the glTF 2.0 extension KHR_interactivity.

Source: Khronos, glTF 2.0 Interactivity Extension Specification.
"""
