"""GLSL of the rasteriser: lit surfaces, things seen through, shadows, heights and numbers.

Diffuse light is irradiance from nine spherical harmonics, dimmed where a map of heights seen from
above closes off the sky, plus one lamp with soft shadows (percentage closer soft shadows,
Fernando, SIGGRAPH 2005 sketches). Reflection is the GGX lobe (Walter et al., EGSR 2007) of the
lamp with Schlick's Fresnel term, and a lookup in maps blurred by roughness; rays that go down
meet the floor.
"""

from __future__ import annotations

_VERTEX = """
#version 330
in vec3 in_place; in vec3 in_normal; in vec2 in_uv;
uniform mat4 view_projection;
out vec3 place; out vec3 normal; out vec2 uv;
void main() {
    place = in_place; normal = in_normal; uv = in_uv;
    gl_Position = view_projection * vec4(in_place, 1.0);
}
"""

_LIGHT = """
#version 330
in vec3 place; in vec3 normal; in vec2 uv;
layout(location = 0) out vec4 result;
uniform vec3 eye, towards, strength;
uniform vec3 harmonics[9];
uniform float softness;
uniform sampler2DArray around;
uniform sampler2D shadow_map, clear_shadow_map, height_map, floor_map, relief_map, picture;
uniform mat4 lamp;
uniform float lamp_texel, lamp_depth, has_clear, clear_shade;
uniform vec4 height_area;
uniform vec3 floor_light; uniform float floor_scale;
uniform vec3 colour, back_colour;
uniform float roughness, metal, gloss, bump, grain, mottle, through, facets, has_picture, is_floor;
const float PI = 3.14159265;
const vec2 SPREAD[12] = vec2[](vec2(-.326,-.406), vec2(-.840,-.074), vec2(-.696,.457),
    vec2(-.203,.621), vec2(.962,-.195), vec2(.473,-.480), vec2(.519,.767), vec2(.185,-.893),
    vec2(.507,.064), vec2(.896,.412), vec2(-.322,-.933), vec2(-.792,-.598));

float hash(vec2 p) { return fract(sin(dot(p, vec2(12.9898, 78.233))) * 43758.5453); }

vec3 irradiance(vec3 n) {
    return max(vec3(0.0), harmonics[0] * 0.282095 + harmonics[1] * 0.488603 * n.y
        + harmonics[2] * 0.488603 * n.z + harmonics[3] * 0.488603 * n.x
        + harmonics[4] * 1.092548 * n.x * n.y + harmonics[5] * 1.092548 * n.y * n.z
        + harmonics[6] * 0.315392 * (3.0 * n.z * n.z - 1.0)
        + harmonics[7] * 1.092548 * n.x * n.z + harmonics[8] * 0.546274 * (n.x*n.x - n.y*n.y));
}

vec3 sky(vec3 d, float level) {
    vec2 at = vec2(atan(d.y, d.x) / (2.0 * PI) + 0.5, acos(clamp(d.z, -1.0, 1.0)) / PI);
    float low = floor(level);
    return mix(texture(around, vec3(at, low)).rgb, texture(around, vec3(at, low + 1.0)).rgb,
        level - low);
}

float open_sky(vec3 p, vec3 n) {
    float turn = hash(gl_FragCoord.xy) * 6.2831853, closed = 0.0;
    vec2 size = height_area.zw;
    for (int i = 0; i < 7; i++) {
        float a = turn + float(i) * 2.39996, r = 0.004 + 0.10 * pow((float(i) + 0.5) / 7.0, 1.6);
        vec2 d = vec2(cos(a), sin(a)) * r;
        if (dot(d, n.xy) < 0.0 && n.z < 0.6) d = -d;
        vec2 at = (p.xy + d - height_area.xy) / size;
        float top = (at.x < 0.0 || at.y < 0.0 || at.x > 1.0 || at.y > 1.0) ? 0.0
            : texture(height_map, at).r;
        float rise = top - p.z - 0.0015 - max(0.0, dot(-n.xy, d) / max(n.z, 0.25));
        closed += rise > 0.0 ? rise / sqrt(rise * rise + r * r) : 0.0;
    }
    return 1.0 - 0.92 * closed / 7.0;
}

float lit(sampler2D map, vec3 p, vec3 n) {
    vec4 q = lamp * vec4(p + n * (0.0006 + 0.003 / lamp_texel), 1.0);
    vec3 at = q.xyz * 0.5 + 0.5;
    if (at.x < 0.0 || at.y < 0.0 || at.x > 1.0 || at.y > 1.0) return 1.0;
    float turn = hash(gl_FragCoord.yx) * 6.2831853;
    mat2 spin = mat2(cos(turn), sin(turn), -sin(turn), cos(turn));
    float wide = softness * 0.12 * lamp_texel, gap = 0.0, found = 0.0;
    for (int i = 0; i < 5; i++) {
        float z = texture(map, at.xy + spin * SPREAD[i * 2] * wide).r;
        if (z < at.z - 0.001) { gap += at.z - z; found += 1.0; }
    }
    if (found < 0.5) return 1.0;
    float r = clamp(gap / found * lamp_depth * softness * lamp_texel, 0.0015, 0.12), sum = 0.0;
    for (int i = 0; i < 9; i++) {
        float z = texture(map, at.xy + spin * SPREAD[i] * r).r;
        sum += z < at.z - 0.001 - r * 0.05 ? 0.0 : 1.0;
    }
    return sum / 9.0;
}

vec3 relieved(vec3 n, out float high) {
    vec3 p = place * grain, w = abs(n); w = w * w; w /= w.x + w.y + w.z;
    vec3 a = texture(relief_map, p.yz).xyz - 0.5, b = texture(relief_map, p.xz).xyz - 0.5;
    vec3 c = texture(relief_map, p.xy).xyz - 0.5;
    high = a.z * w.x + b.z * w.y + c.z * w.z;
    vec3 g = w.x * vec3(0.0, a.xy) + w.y * vec3(b.x, 0.0, b.y) + w.z * vec3(c.xy, 0.0);
    return normalize(n - 4.0 * bump * (g - dot(g, n) * n));
}

vec3 mirrored(vec3 p, vec3 r, float rough) {
    if (r.z > -0.02 || is_floor > 0.5) return sky(vec3(r.xy, max(r.z, is_floor > 0.5 ? 0.0 : -1.0)),
        sqrt(rough) * 3.99);
    vec2 hit = p.xy + r.xy * (max(p.z, 0.0) / -r.z);
    float far = clamp(length(hit - p.xy) * 1.5, 0.0, 1.0);
    vec3 near = textureLod(floor_map, hit * floor_scale, rough * 6.0).rgb;
    return mix(near, vec3(dot(near, vec3(0.333))), far * 0.3) * floor_light;
}

float lobe(vec3 n, vec3 v, vec3 l, float rough) {
    float a = max(rough * rough, 0.004), s = a * a;
    vec3 h = normalize(v + l);
    float nh = max(dot(n, h), 0.0), nl = max(dot(n, l), 0.0), nv = max(dot(n, v), 0.05);
    float d = nh * nh * (s - 1.0) + 1.0, k = a * 0.5 + 0.02;
    return s / (PI * d * d) / (4.0 * (nl * (1.0 - k) + k) * (nv * (1.0 - k) + k)) * nl;
}

vec3 surface(vec3 n0, vec3 v, bool front, vec3 ground, out vec3 shine) {
    float high = 0.0;
    vec3 n = bump + mottle > 0.0 ? relieved(n0, high) : n0;
    if (dot(n, v) < 0.02) n = normalize(n + v * (0.02 - dot(n, v)));
    vec3 body = ground * clamp(1.0 + mottle * high * 2.5, 0.1, 1.8);
    float open = open_sky(place, n0), shadow = dot(n0, towards) > 0.0 || through > 0.0
        ? lit(shadow_map, place, n0 * sign(dot(n0, towards))) : 0.0;
    if (has_clear > 0.5 && shadow > 0.0)
        shadow *= mix(1.0 - clear_shade, 1.0, lit(clear_shadow_map, place, n0));
    vec3 direct = strength * shadow;
    vec3 glow = open / (1.0 - 0.9 * body * (1.0 - open));  // light thrown to and fro in a hollow
    vec3 light = irradiance(n) * glow + direct * max(dot(n, towards), 0.0);
    if (through > 0.0)
        light = light * (1.0 - 0.5 * through) + through * (irradiance(-n) * 0.5 * open
            + direct * max(dot(-n, towards), 0.0)) * (0.4 + 0.6 * body);
    vec3 base = mix(vec3(0.04 * gloss), body, metal);
    float nv = max(dot(n, v), 0.0);
    vec3 fresnel = base + (max(vec3(1.0 - roughness), base) - base) * pow(1.0 - nv, 5.0)
        * mix(gloss, 1.0, metal);
    vec3 r = reflect(-v, n);
    shine = fresnel * (mirrored(place, r, roughness) * mix(open, 1.0, 0.25)
        + direct * PI * lobe(n, v, towards, roughness));
    return body * (1.0 - metal) * light;
}
"""

_SOLID = """
void main() {
    vec4 print = has_picture > 0.5 ? texture(picture, uv) : vec4(1.0);
    if (print.a < 0.5) discard;
    vec3 v = normalize(eye - place);
    vec3 n = facets > 0.5 ? normalize(cross(dFdx(place), dFdy(place))) : normalize(normal);
    bool front = facets > 0.5 ? dot(normal, v) > 0.0 : gl_FrontFacing;
    if (dot(n, v) < 0.0 && (facets > 0.5 || !gl_FrontFacing)) n = -n;
    vec3 shine, ground = front || back_colour.r < 0.0 ? colour * print.rgb : back_colour;
    result = vec4(surface(n, v, front, ground, shine) + shine, 1.0);
}
"""

_CLEAR = """
uniform sampler2D behind;
uniform vec3 tint; uniform vec2 screen; uniform vec3 right, up;
uniform float haze, bend, rim, flip;
void main() {
    vec4 print = has_picture > 0.5 ? texture(picture, uv) : vec4(1.0, 1.0, 1.0, 0.0);
    vec3 v = normalize(eye - place);
    vec3 n = facets > 0.5 ? normalize(cross(dFdx(place), dFdy(place))) : normalize(normal);
    if (dot(n, v) < 0.0) n = -n;
    float unused; vec3 m = bump > 0.0 ? relieved(n, unused) : n;
    float c = clamp(dot(m, v), 0.0, 1.0), edge = pow(1.0 - c, 2.5);
    vec2 shift = vec2(dot(m, right), dot(m, up)) * bend * (0.25 + edge);
    vec2 at = gl_FragCoord.xy / screen - shift;
    at = mix(at, clamp(at, 0.01, 0.99), 1.0);
    vec3 seen = texture(behind, at).rgb;
    vec3 gone = mirrored(place, refract(-v, m, 0.72), 0.15);
    seen = mix(seen, gone, rim * edge) * pow(tint, vec3(1.0 / max(c, 0.16)));
    vec3 shine, own = surface(n, v, true, colour * print.rgb, shine);
    float cover = max(haze * mix(1.0, 1.0 / max(c, 0.35), 0.6), print.a);
    result = vec4(mix(seen, own, clamp(cover, 0.0, 1.0)) + shine, 1.0);
}
"""

_FLAT = """
#version 330
in vec3 place; in vec2 uv;
uniform float has_picture, number; uniform sampler2D picture;
layout(location = 0) out vec4 result;
void main() {
    if (has_picture > 0.5 && texture(picture, uv).a < 0.5) discard;
    result = vec4(number, place.z, 0.0, 1.0);
}
"""

VERTEX = _VERTEX
SOLID = _LIGHT + _SOLID
CLEAR = _LIGHT + _CLEAR
FLAT = _FLAT
