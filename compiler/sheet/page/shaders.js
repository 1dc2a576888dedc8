// What the graphics card computes. First the skin is posed, vertex by vertex, then normals are summed over the posed
// triangles around each point; both stay on the card until the pose changes. From them the skin is drawn.

const HEAD = `#version 300 es
precision highp float; precision highp int; precision highp sampler2D; precision highp isampler2D; precision highp usampler2D;
ivec2 place(int i) { return ivec2(i & 2047, i >> 11); }
`;

// Joint and weight of an influence of this vertex; the heaviest stand first, and after the last the weight is 0.
const INFLUENCES = `
uniform sampler2D frame; uniform usampler2D jointList, weightList; uniform int perVertex;
vec4 value(int i) { return texelFetch(frame, place(i), 0); }
int bind(int i) { return int(texelFetch(jointList, place(perVertex * gl_VertexID + i), 0).x); }
uint weight(int i) { return i < perVertex ? texelFetch(weightList, place(perVertex * gl_VertexID + i), 0).x : 0u; }
`;
const LINEAR = `
vec3 skinned(vec3 p) {
  vec4 a = vec4(0), b = vec4(0), c = vec4(0), q = vec4(p, 1); uint whole = weight(0); int i = 0;
  for (uint share = whole; share > 0u; share = weight(i)) {
    int at = 3 * bind(i++); float w = float(share) / 65535.0;
    a += w * value(at); b += w * value(at + 1); c += w * value(at + 2);
  }
  return whole > 0u ? vec3(dot(a, q), dot(b, q), dot(c, q)) : p;
}`;
const DUAL = `
vec3 skinned(vec3 p) {
  vec4 real = vec4(0), shift = vec4(0), pivot = value(5 * bind(0)); vec3 stretched = vec3(0); uint whole = weight(0); int i = 0;
  for (uint share = whole; share > 0u; share = weight(i)) {
    int at = 5 * bind(i++); float w = float(share) / 65535.0;
    vec4 r = value(at); float signed_ = dot(pivot, r) < 0.0 ? -w : w;
    real += signed_ * r; shift += signed_ * value(at + 1);
    stretched += w * vec3(dot(value(at + 2).xyz, p), dot(value(at + 3).xyz, p), dot(value(at + 4).xyz, p));
  }
  float size = length(real); real /= size; shift /= size;
  vec3 turned = stretched + 2.0 * cross(real.xyz, cross(real.xyz, stretched) + real.w * stretched);
  return whole > 0u ? turned + 2.0 * (real.w * shift.xyz - shift.w * real.xyz + cross(real.xyz, shift.xyz)) : p;
}`;

/** Shapes, then joints: linear (glTF 2.0, section 3.7.3) or dual quaternions (Kavan and others 2007). */
export const poseVertex = (dual) => `${HEAD}
layout(location = 0) in vec3 steps; layout(location = 5) in uvec2 offsets;
uniform vec3 low, step_; uniform isampler2D offsetList; uniform int amounts;
out vec4 posed;
${INFLUENCES}${dual ? DUAL : LINEAR}
void main() {
  vec3 moved = vec3(0);
  for (uint i = offsets.x; i < offsets.x + offsets.y; i++) {
    ivec4 one = texelFetch(offsetList, place(int(i)), 0);
    moved += value(amounts + one.w).x * vec3(one.xyz);
  }
  posed = vec4(skinned(low + step_ * steps + moved), length(moved));
  gl_Position = vec4(0, 0, 0, 1);
}`;
export const NOTHING = `${HEAD} out vec4 nothing; void main() { nothing = vec4(0); }`;

/** The normal of a vertex: the sum over the triangles at its point, each by its area. */
export const NORMAL = `${HEAD}
layout(location = 0) in uvec2 ring; uniform usampler2D rings; uniform sampler2D posedPlaces; out vec4 normal;
vec3 at(uint i) { return texelFetch(posedPlaces, place(int(i)), 0).xyz; }
void main() {
  vec3 own = at(uint(gl_VertexID)), sum = vec3(0);
  for (uint i = ring.x; i < ring.x + ring.y; i++) {
    uvec2 two = texelFetch(rings, place(int(i)), 0).xy;
    sum += cross(at(two.x) - own, at(two.y) - own);
  }
  float size = length(sum);
  normal = vec4(size > 0.0 ? sum / size : sum, 0);
  gl_Position = vec4(0, 0, 0, 1);
}`;

/** Places of the vertex shader that texture coordinates come in at, a place for each set that details lie over. */
export const UV_PLACES = [1, 2, 6, 7, 8, 9, 10, 11];

/** `sets`: how many sets of texture coordinates there are. */
export const shadeVertex = (sets) => `${HEAD}
layout(location = 0) in vec4 posed; layout(location = 3) in float told; layout(location = 4) in vec4 summed; uniform mat4 view;
${UV_PLACES.slice(0, sets).map((place, set) => `layout(location = ${place}) in vec2 place${set}; out vec2 uv${set};`).join("\n")}
out vec3 here; out vec3 normal; out float heat;
void main() {
  here = posed.xyz; normal = summed.xyz; heat = told;
  ${UV_PLACES.slice(0, sets).map((place, set) => `uv${set} = place${set};`).join(" ")}
  gl_Position = view * vec4(here, 1);
}`;

// How far folds are on, and what that does to the normal. A texture that adds nothing is not read.
const DETAIL = `
uniform vec4 folds[8]; uniform float depth;
float part(sampler2D texels, vec2 mask, vec4 strengths) { return strengths == vec4(0) ? 0.0 : dot(texture(texels, mask), strengths); }
vec3 laid(vec3 base, vec3 added) {   // Barre-Brisebois and Hill, "Blending in Detail", 2012
  vec3 t = base + vec3(0, 0, 1), u = added * vec3(-1, -1, 1); return normalize(t * dot(t, u) - u * t.z);
}
vec3 decoded(vec2 xy) { xy = xy * 2.0 - 1.0; return vec3(xy, sqrt(max(0.0, 1.0 - dot(xy, xy)))); }
vec3 bumped(vec3 n, sampler2D maps, vec2 map, float factor, bool reoriented) {
  vec4 both = texture(maps, map); vec3 relaxed = decoded(both.xy), contracted = decoded(both.zw);
  vec3 bump = reoriented ? laid(relaxed, mix(vec3(0, 0, 1), contracted, factor)) : normalize(mix(relaxed, contracted, factor));
  bump.xy *= depth;
  vec3 dx = dFdx(here), dy = dFdy(here); vec2 ux = dFdx(map), uy = dFdy(map);
  vec3 px = cross(dy, n), py = cross(n, dx), t = px * ux.x + py * uy.x, b = -(px * ux.y + py * uy.y);
  float size = max(dot(t, t), dot(b, b));
  return size > 0.0 ? normalize(mat3(t, b, n * sqrt(size)) * normalize(bump)) : n;
}`;
// Each detail lies over those before it; a place is as far contracted as the detail that is furthest there.
const detailed = (details) => `${DETAIL}
uniform sampler2D ${details.flatMap(({ masks }, detail) => [`detailMaps${detail}`, ...masks.map((mask) => `mask${mask}`)]).join(", ")};
float folded = 0.0;
vec3 detailed(vec3 n) {
  float factor;
  ${details.map(({ masks, maskSet, mapSet, reoriented }, detail) => `
  factor = clamp(${["0.0", ...masks.map((mask) => `part(mask${mask}, uv${maskSet}, folds[${mask}])`)].join(" + ")}, 0.0, 1.0);
  folded = max(folded, factor);
  n = bumped(n, detailMaps${detail}, uv${mapSet}, factor, ${reoriented});`).join("")}
  return n;
}`;
// The skin as long as no detail is on it: much less to compile before a first picture, and to compute.
const NO_DETAIL = `
const float folded = 0.0;
vec3 detailed(vec3 n) { return n; }`;

/**
 * Lit skin with its details: of each the numbers of its masks, the sets of texture coordinates, and how maps are mixed.
 * `colouring`: 0 none, 1 a sequential scale, 2 a diverging one, 3 the factor of folds.
 */
export const shadeFragment = (details, sets) => `${HEAD}
in vec3 here; in vec3 normal; in float heat; ${UV_PLACES.slice(0, sets).map((place, set) => `in vec2 uv${set};`).join(" ")}
uniform vec3 eye; uniform int colouring; uniform vec3 clay; uniform vec3 scale[5];
out vec4 colour;
vec3 along(float t) {
  float place = clamp(t, 0.0, 1.0) * 4.0; int i = int(min(place, 3.0));
  return mix(scale[i], scale[i + 1], place - float(i));
}
${details.length ? detailed(details) : NO_DETAIL}
void main() {
  vec3 n = normalize(normal); if (!gl_FrontFacing) n = -n;
  n = detailed(n);
  float amount = colouring == 3 ? folded : heat;
  vec3 base = colouring == 0 || (colouring != 2 && amount < 0.004) ? clay : along(amount);
  if (colouring == 2) base = mix(clay, base, smoothstep(0.02, 0.25, abs(2.0 * amount - 1.0)));   // what stays as it is
  vec3 toEye = normalize(eye - here), key = normalize(vec3(0.45, 0.75, 0.55)), fill = normalize(vec3(-0.75, 0.15, 0.45));
  float light = 0.33 + 0.16 * n.y + 0.62 * max(dot(n, key), 0.0) + 0.20 * max(dot(n, fill), 0.0);
  float gloss = 0.10 * pow(max(dot(n, normalize(key + toEye)), 0.0), 32.0);
  float rim = 0.10 * pow(1.0 - max(dot(n, toEye), 0.0), 3.0);
  colour = vec4(sqrt(clamp(base * base * light + gloss + rim, 0.0, 1.0)), 1);
}`;

/** The number of the vertex that decides each pixel, and how near it is. */
export const PICK_VERTEX = `${HEAD}
layout(location = 0) in vec4 posed; uniform mat4 view;
flat out uint id; void main() { id = uint(gl_VertexID); gl_Position = view * vec4(posed.xyz, 1); }`;
export const PICK_FRAGMENT = `${HEAD} flat in uint id; out uvec4 found; void main() { found = uvec4(id + 1u, 0, 0, 0); }`;

/** Four grey quarters of one picture as the four channels of another: both maps' directions side by side. */
export const WHOLE_TARGET = `${HEAD} void main() { gl_Position = vec4(vec2(gl_VertexID & 1, gl_VertexID >> 1) * 4.0 - 1.0, 0, 1); }`;
export const QUARTERS = `${HEAD}
uniform sampler2D picture; out vec4 colour;
void main() {
  ivec2 at = ivec2(gl_FragCoord.xy), half_ = textureSize(picture, 0) / 2;
  colour = vec4(texelFetch(picture, at, 0).x, texelFetch(picture, at + ivec2(half_.x, 0), 0).x,
    texelFetch(picture, at + ivec2(0, half_.y), 0).x, texelFetch(picture, at + half_, 0).x);
}`;

/** The ground: a soft round shade under the character. */
export const GROUND_VERTEX = `${HEAD}
uniform mat4 view; uniform vec4 ground; out vec2 across;
void main() {
  across = vec2(gl_VertexID & 1, gl_VertexID >> 1) * 2.0 - 1.0;
  gl_Position = view * vec4(ground.x + across.x * ground.w, ground.y, ground.z + across.y * ground.w, 1);
}`;
export const GROUND_FRAGMENT = `${HEAD}
in vec2 across; uniform vec3 shade; out vec4 colour;
void main() {
  float away = length(across), soft = 0.26 * smoothstep(1.0, 0.0, away) * smoothstep(1.0, 0.35, away);
  colour = vec4(shade * soft, soft);
}`;
