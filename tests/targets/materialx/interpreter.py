"""Evaluates node graphs of MaterialX over many places at once, from the library's own reading of the document.

Written from the MaterialX 1.39 specification's description of the standard nodes. Defaults of inputs that are not
given come from the library's node definitions. Images are sampled with scipy.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import MaterialX as mx  # type: ignore[import-not-found]  # noqa: N813
import numpy as np
from scipy import ndimage

from plica.mesh.arrays import Floats


class Interpreter:
    """One graph of a document, by name.

    images: by file name (rows, columns, channels) from 0 to 1; places: texture coordinates (n, 2), v down, by
    the name of a geometric property or the number of a set; strengths: by input of the graph. The tangent frame is
    x, y, z.
    """

    def __init__(
        self,
        document: Any,
        graph: str,
        images: Mapping[str, Floats],
        places: Mapping[str | int, Floats],
        strengths: Mapping[str, float],
    ) -> None:
        self.document = document  # the library drops a graph whose document is gone
        self.graph = document.getNodeGraph(graph)
        self.images, self.places, self.strengths = images, places, strengths
        self.count = len(next(iter(places.values())))
        self.made: dict[str, Floats] = {}
        self.used: set[str] = set()

    def output(self, name: str) -> Floats:
        """An output's values (n, components)."""
        return self._node(self.graph.getOutput(name).getNodeName())

    def _node(self, name: str) -> Floats:
        if name not in self.made:
            node = self.graph.getNode(name)
            definition = node.getNodeDef()
            assert definition is not None, f"the standard library has no such node: {name}"
            self.used.add(node.getCategory())
            self.made[name] = getattr(self, f"_{node.getCategory()}")(node, definition)
        return self.made[name]

    def _input(self, node: Any, definition: Any, name: str) -> Floats:
        given = node.getInput(name)
        if given is not None and given.getNodeName():
            return self._node(given.getNodeName())
        if given is not None and given.getInterfaceName():
            return np.full((self.count, 1), self.strengths[given.getInterfaceName()])
        value = (given if given is not None else definition.getActiveInput(name)).getValue()
        numbers = [value] if isinstance(value, int | float) else [value[number] for number in range(len(value))]
        return np.tile(np.array(numbers, dtype=np.float64), (self.count, 1))

    def _text(self, node: Any, name: str) -> str:
        return str(node.getInput(name).getValueString())

    # ---- nodes, by category

    def _texcoord(self, node: Any, definition: Any) -> Floats:
        return self.places[int(self._text(node, "index"))]

    def _geompropvalue(self, node: Any, definition: Any) -> Floats:
        return self.places[self._text(node, "geomprop")]

    def _image(self, node: Any, definition: Any) -> Floats:
        for name, value in (("uaddressmode", "periodic"), ("vaddressmode", "periodic"), ("filtertype", "linear")):
            given = node.getInput(name) or definition.getActiveInput(name)
            assert given.getValueString() == value
        image, uv = self.images[self._text(node, "file")], self._input(node, definition, "texcoord")
        rows, columns, channels = image.shape
        wanted = {"float": 1, "vector3": 3, "vector4": 4}[node.getType()]
        where = np.stack([uv[:, 1] * rows - 0.5, uv[:, 0] * columns - 0.5])
        result = [ndimage.map_coordinates(image[..., c], where, order=1, mode="grid-wrap") for c in range(channels)]
        result += [np.ones(self.count)] * (wanted - channels)
        return np.stack(result[:wanted], axis=1)

    def _constant(self, node: Any, definition: Any) -> Floats:
        return self._input(node, definition, "value")

    def _extract(self, node: Any, definition: Any) -> Floats:
        index = int(self._text(node, "index"))
        return self._input(node, definition, "in")[:, index : index + 1]

    def _multiply(self, node: Any, definition: Any) -> Floats:
        return self._input(node, definition, "in1") * self._input(node, definition, "in2")

    def _add(self, node: Any, definition: Any) -> Floats:
        return self._input(node, definition, "in1") + self._input(node, definition, "in2")

    def _subtract(self, node: Any, definition: Any) -> Floats:
        return self._input(node, definition, "in1") - self._input(node, definition, "in2")

    def _atan2(self, node: Any, definition: Any) -> Floats:
        return np.asarray(np.arctan2(self._input(node, definition, "iny"), self._input(node, definition, "inx")))

    def _clamp(self, node: Any, definition: Any) -> Floats:
        low, high = (self._input(node, definition, name) for name in ("low", "high"))
        return np.minimum(np.maximum(self._input(node, definition, "in"), low), high)

    def _mix(self, node: Any, definition: Any) -> Floats:
        over, under, share = (self._input(node, definition, name) for name in ("fg", "bg", "mix"))
        return under * (1.0 - share) + over * share

    def _dotproduct(self, node: Any, definition: Any) -> Floats:
        product = self._input(node, definition, "in1") * self._input(node, definition, "in2")
        return product.sum(axis=1, keepdims=True)

    def _normalize(self, node: Any, definition: Any) -> Floats:
        vector = self._input(node, definition, "in")
        with np.errstate(invalid="ignore"):  # a graph made wrong on purpose may have a vector without length
            return vector / np.linalg.norm(vector, axis=1, keepdims=True)

    def _tangent(self, node: Any, definition: Any) -> Floats:
        assert self._text(node, "space") == "world" and int(self._text(node, "index")) in self.places
        return np.tile((1.0, 0.0, 0.0), (self.count, 1))

    def _bitangent(self, node: Any, definition: Any) -> Floats:
        assert self._text(node, "space") == "world" and int(self._text(node, "index")) in self.places
        return np.tile((0.0, 1.0, 0.0), (self.count, 1))

    def _normalmap(self, node: Any, definition: Any) -> Floats:
        """In the frame x, y, z the normal is the stored vector decoded, at unit length."""
        vector = self._input(node, definition, "in") * 2.0 - 1.0
        scale = self._input(node, definition, "scale")
        assert (scale == 1.0).all()
        return vector / np.linalg.norm(vector, axis=1, keepdims=True)


def library() -> Any:
    """The standard library's definitions."""
    result = mx.createDocument()
    mx.loadLibraries(mx.getDefaultDataLibraryFolders(), mx.getDefaultDataSearchPath(), result)
    return result


def read_document(content: bytes, definitions: Any) -> Any:
    """A document with the standard library's definitions."""
    document = mx.createDocument()
    mx.readFromXmlString(document, content.decode("utf-8"))
    document.setDataLibrary(definitions)
    return document
