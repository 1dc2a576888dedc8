"""The border of a region: weighed where that is possible, cut where the expectation says; limits on a share of the
area; places that are those that were measured."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plica.kinds.expectations import BORDER, EXPECTATION_KINDS
from plica.measure.area_shares import areas_of, kept_to
from plica.measure.girth import Girth
from plica.measure.region_faces import faces_of
from plica.measure.stretch import Stretch
from plica.measure.volume import LEVELS, Volume
from plica.mesh.arrays import Floats
from plica.prove.cache.keys import expectation_digest
from plica.prove.measures.area import RegionArea
from plica.prove.proof import ProofSubject
from plica.prove.prover import Prover
from plica.prove.results import Result
from plica.prove.skin import PERCENTILES, Skin
from plica.rig.expectations import border_of, title_of
from plica.rig.rig import Expectation
from plica.syntax.fact_kinds import FACT_KINDS
from tests.support.arms import ELBOW, SHAPE, arms
from tests.support.meshes import bare_mesh
from tests.support.solids import tube
from tests.support.texts import compiled

REST, TRIANGLES = tube(81, 24, radius=0.4)
MESH = bare_mesh(REST, TRIANGLES)


def soft(middle: float) -> Floats:
    """Weights that rise from 0 to 1 over a part of the tube, which runs from -2 to 2."""
    return np.clip((REST[:, 1] - middle) / 1.5 + 0.5, 0.0, 1.0)


def bent() -> Floats:
    """The tube bent by 90 degrees about its middle, blended linearly (1, v, 3)."""
    share = (REST[:, 1:2] + 2.0) / 4.0
    turned = np.stack([-REST[:, 1], REST[:, 0], REST[:, 2]], axis=1)
    return ((1.0 - share) * REST + share * turned)[None]


def changes(middle: float, border: float | None) -> float:
    return float(Volume.prepared(MESH, soft(middle), REST, border).relative(bent()).values[0])


def test_a_weighed_volume_is_the_mean_of_those_inside_its_borders() -> None:
    weighed = Volume.prepared(MESH, soft(0.1), REST)
    cut = [Volume.prepared(MESH, soft(0.1), REST, (level + 0.5) / LEVELS) for level in range(LEVELS)]
    assert weighed.rest == pytest.approx(np.mean([one.rest for one in cut]), rel=1e-12)
    assert weighed.of(bent()) == pytest.approx(np.mean([one.of(bent()) for one in cut], axis=0), rel=1e-12)


def test_a_region_without_soft_borders_is_the_same_weighed_or_cut() -> None:
    weights = (REST[:, 1] > 0.3).astype(np.float64)
    mesh_edge = Volume.prepared(MESH, np.ones(len(REST)), REST)
    assert mesh_edge.rest == Volume.prepared(MESH, np.ones(len(REST)), REST, 0.9).rest
    borders = {Volume.prepared(MESH, weights, REST, border).rest for border in (0.4, 0.5, 0.6)}
    assert len(borders) == 1


def test_weighing_does_not_jump_where_a_cut_does() -> None:
    """The weights move along the tube by a hundredth of an edge: a cut takes a ring of triangles or leaves it."""
    middles = np.linspace(0.0, 0.05, 41)
    cut = np.abs(np.diff([changes(middle, BORDER) for middle in middles])).max()
    weighed = np.abs(np.diff([changes(middle, None) for middle in middles])).max()
    assert weighed < cut / 3.0


AT = tuple(np.linspace(0.02, 0.98, 13))
START, END = np.array([0.0, -2.0, 0.0]), np.array([0.0, 2.0, 0.0])


def girths(weights: Floats, border: float | None) -> Girth:
    return Girth.prepared(MESH, weights, REST, START, END, AT, border)


def slanted(shift: float) -> Floats:
    """Weights that fade across the tube, so that curves end within the region."""
    return np.clip((REST[:, 0] + shift) / 0.5 + 0.5, 0.0, 1.0)


def test_a_weighed_girth_is_the_mean_of_those_inside_all_borders() -> None:
    """A triangle of the mean weight w lies inside the share w of all borders from 0 to 1."""
    levels = 400
    cut = [girths(slanted(0.0), (level + 0.5) / levels) for level in range(levels)]
    weighed = girths(slanted(0.0), None)
    np.testing.assert_allclose(weighed.rest, np.mean([one.rest for one in cut], axis=0), rtol=2e-3)
    moved = np.mean([one.of(bent())[0] for one in cut], axis=0)
    np.testing.assert_allclose(weighed.of(bent())[0], moved, rtol=2e-3)


def test_a_weighed_girth_does_not_jump_where_a_cut_one_does() -> None:
    shifts = np.linspace(0.0, 0.05, 41)
    rests = {border: np.array([girths(slanted(shift), border).rest for shift in shifts]) for border in (BORDER, None)}
    jumps = {border: np.abs(np.diff(rest, axis=0)).max() for border, rest in rests.items()}
    assert jumps[None] < jumps[BORDER] / 3.0


def test_a_girth_of_faint_weights_is_that_of_full_ones() -> None:
    """What fades evenly all round a limb changes nothing, where a border in the middle would find no curve at all."""
    whole, faint = girths(np.ones(len(REST)), None), girths(np.full(len(REST), 0.3), None)
    assert faint.rest == pytest.approx(0.3 * whole.rest)
    assert faint.relative(bent()).values == pytest.approx(whole.relative(bent()).values)
    assert not girths(np.full(len(REST), 0.3), BORDER).rest.any()
    assert faint.relative(bent()).vertices.tolist() == whole.relative(bent()).vertices.tolist()
    assert girths(np.full(len(REST), 0.3), BORDER).relative(bent()).vertices.tolist() == [-1]


def test_a_border_says_which_triangles_count() -> None:
    means = soft(0.0)[TRIANGLES].mean(axis=1)
    for border in (0.0, 0.2, 0.5, 0.8):
        assert faces_of(MESH, soft(0.0), border).numbers.tolist() == np.flatnonzero(means > border).tolist()
        areas = areas_of(REST[TRIANGLES])
        assert RegionArea.prepared(MESH, soft(0.0), REST, border).rest == pytest.approx(areas[means > border].sum())
    assert RegionArea.prepared(MESH, soft(0.0), REST).rest == pytest.approx((areas_of(REST[TRIANGLES]) * means).sum())


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 60), st.floats(0.01, 1.0), st.integers(0, 2**32))
def test_what_a_share_keeps_to_is_a_weighted_percentile(count: int, share: float, seed: int) -> None:
    """Against numpy.percentile with weights (method `inverted_cdf`)."""
    random = np.random.default_rng(seed)
    values, areas = random.normal(size=(count, 4)).round(1), random.uniform(0.1, 1.0, count)
    result, rows = kept_to(values, areas, share)
    for frame in range(4):
        expected = np.percentile(values[:, frame], 100.0 * share, weights=areas, method="inverted_cdf")
        assert result[frame] == values[rows[frame], frame]
        below = areas[values[:, frame] <= result[frame]].sum()
        assert below >= share * areas.sum() * (1.0 - 1e-9)
        if result[frame] != expected:  # a share that ends between two triangles, up to rounding
            assert areas[values[:, frame] <= expected].sum() == pytest.approx(share * areas.sum(), rel=1e-9)


def test_a_frame_without_a_figure_keeps_to_none() -> None:
    result, rows = kept_to(np.array([[1.0, np.nan], [2.0, 1.0]]), np.ones(2), 0.5)
    assert result[0] == 1.0 and np.isnan(result[1]) and rows.tolist() == [0, -1]
    assert np.isnan(kept_to(np.ones((2, 1)), np.zeros(2), 0.5)[0]).all()


def patch() -> tuple[Skin, Floats]:
    """A flat strip of 20 squares of which the last two are drawn to twice their length, and the others by a tenth."""
    along = np.arange(21.0)
    rest = np.array([(x, y, 0.0) for x in along for y in (0.0, 1.0)])
    corners = [(2 * k, 2 * k + 2, 2 * k + 1) for k in range(20)] + [
        (2 * k + 1, 2 * k + 2, 2 * k + 3) for k in range(20)
    ]
    lengths = np.concatenate([[0.0], np.cumsum([1.1] * 18 + [2.0] * 2)])
    made = arms("")
    skin = Skin(made.rig, bare_mesh(rest, np.array(corners)), {"strip": np.ones(len(rest))}, rest)
    return skin, np.array([(lengths[int(x)], y, 0.0) for x, y, _ in rest])


@pytest.mark.parametrize(("share", "expected"), [(None, 1.0), (1.0, 1.0), (0.91, 1.0), (0.9, 0.1), (0.5, 0.1)])
def test_a_stretch_on_a_share_of_the_area(share: float | None, expected: float) -> None:
    """Nine tenths of the strip are longer by 10 %, one tenth is twice as long: elementary geometry."""
    skin, drawn = patch()
    worst = skin.gauge(Expectation("stretch", "none", ("strip",), share=share))(drawn[None], np.zeros(1, np.int64))
    assert worst.values == pytest.approx([expected])
    squeezed = skin.gauge(Expectation("squeeze", "none", ("strip",), share=share))
    assert squeezed(drawn[None], np.zeros(1, np.int64)).values == pytest.approx([0.0], abs=1e-12)


def test_percentiles_are_what_shares_of_the_area_keep_to() -> None:
    skin, drawn = patch()
    told = dict(skin.percentiles(Expectation("stretch", "none", ("strip",)), drawn))
    assert told == pytest.approx({0.5: 0.1, 0.9: 0.1, 0.95: 1.0, 0.98: 1.0, 0.99: 1.0})
    assert tuple(told) == PERCENTILES
    assert skin.percentiles(Expectation("volume", "none", ("strip",)), drawn) == ()


TEXT = """
expect left { stretch of forearm at most 40 %   over elbow }
expect left { stretch of forearm at most 40 % on 98 %   over elbow }
expect left { stretch of forearm border 80 % at most 40 % on 98 %   over elbow }
expect left { volume of forearm within 2 %   over elbow }
expect left { girth of forearm border 30 % within 2 %   over elbow }
"""


def proven() -> dict[str, Result]:
    made = arms(ELBOW + SHAPE + TEXT)
    return {result.title: result for result in Prover(ProofSubject(made.rig, made.attached)).results()}


def test_titles_say_the_border_and_the_share() -> None:
    assert set(proven()) == {
        "stretch of left_forearm over left_elbow",
        "stretch of left_forearm on 98 % over left_elbow",
        "stretch of left_forearm border 80 % on 98 % over left_elbow",
        "volume of left_forearm over left_elbow",
        "girth of left_forearm border 30 % over left_elbow",
    }
    uneven = Expectation("stretch", "none", ("arm",), uv="skin", border=0.25, share=0.9)
    assert title_of(uneven) == 'stretch of arm border 25 % uv "skin" on 90 %'


def test_the_place_named_is_one_that_was_measured() -> None:
    """A vertex of the region, the heaviest of its triangle; of a whole region the joint that carries it, no vertex."""
    made = arms(ELBOW + SHAPE + TEXT)
    weights = made.attached.regions["left_forearm"]
    for title, result in proven().items():
        assert result.place is not None
        assert result.place.joint in ("lowerarm_lf", "upperarm_lf")
        if "volume" in title:
            assert (result.place.vertex, result.place.joint) == (-1, "lowerarm_lf")
            middle = weights @ made.attached.mesh.positions / weights.sum()
            assert result.place.position == pytest.approx(tuple(middle))
        else:
            assert weights[result.place.vertex] > 0.0
    tops = Stretch.on_surface(made.attached.mesh, weights, made.attached.mesh.positions)
    corners = tops.vertices[tops.corners]
    assert (weights[tops.named] == weights[corners].max(axis=1)).all()


def test_more_of_the_area_has_a_worse_figure() -> None:
    shares = [0.5, 0.8, 0.9, 0.95, 0.99, 1.0]
    text = "".join(f"expect left {{ stretch of forearm at most 40 % on {100 * s:g} %  over elbow }}\n" for s in shares)
    made = arms(ELBOW + SHAPE + text)
    results = Prover(ProofSubject(made.rig, made.attached)).results()
    figures = {round(result.expectation.share or 0.0, 9): result.worst or 0.0 for result in results}
    assert all(figures[one] <= figures[other] for one, other in pairwise(shares))
    assert figures[0.5] < figures[1.0]


def test_borders_are_those_of_the_kinds_and_every_measure_of_a_region_takes_one() -> None:
    assert {kind.name for kind in EXPECTATION_KINDS.values() if kind.on_skin and kind.border is None} == {
        "volume",
        "girth",
        "area",
    }
    for kind in EXPECTATION_KINDS.values():
        assert ("border" in FACT_KINDS[kind.key].part_names) == kind.on_skin
    assert border_of(Expectation("stretch", "none", ("arm",))) == BORDER
    assert border_of(Expectation("stretch", "none", ("arm",), share=0.9)) is None
    assert border_of(Expectation("volume", "none", ("arm",), border=0.2)) == 0.2


def test_figures_of_other_borders_and_shares_are_kept_apart() -> None:
    made = arms("")
    asked = [Expectation("stretch", "none", ("arm",), border=b, share=s) for b in (None, 0.2) for s in (None, 0.9)]
    assert len({expectation_digest(made.rig, one, "", []) for one in asked}) == 4


@pytest.mark.parametrize(
    ("written", "problem"),
    [
        ("border 100 %", "the border of a region must be 0 % or more, and below 100 %"),
        ("border 5 mm", None),
        ("at most 50 % on 0 %", "the share of the area must be above 0 %, and 100 % or less"),
        ("at most 50 % on 101 %", "the share of the area must be above 0 %, and 100 % or less"),
        ("at most 50 % on 0.98", None),
    ],
)
def test_what_is_no_share_is_refused(written: str, problem: str | None) -> None:
    limit = "" if "at most" in written else " at most 50 %"
    text = f"region forearm both {{ skin of lowerarm }}\nexpect both {{ stretch of forearm {written}{limit} }}\n"
    found = [one for one in compiled(text).diagnostics if one.severity.value == "error"]
    assert [one.name for one in found] == ["share-out-of-range"] if problem else len(found) == 1
    assert problem is None or found[0].message == problem
