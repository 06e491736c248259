// Z-buffer and shading; the same text is compiled by gcc (loops) and by CUDA (threads). Frame: x right, y down, pixels of
// the finer grid (S samples a pixel along each side); depth metres.
#ifdef __CUDACC__
#define KERNEL extern "C" __global__ void
#define FN static __device__ __forceinline__
typedef unsigned long long u64;
#define LOOP(i, n) { long long i = (long long)blockIdx.x * blockDim.x + threadIdx.x; if (i >= (n)) return; 
#define DONE }
FN void lowest(u64 *p, u64 v) { atomicMin(p, v); }
FN unsigned bits(float f) { return __float_as_uint(f); }
FN float depth_of(u64 v) { return __uint_as_float((unsigned)(v >> 32)); }
#else
#include <math.h>
#include <string.h>
#define KERNEL void
#define FN static inline
typedef unsigned long long u64;
#define LOOP(i, n) for (long long i = 0; i < (n); i++) {
#define DONE }
FN void lowest(u64 *p, u64 v) { if (v < *p) *p = v; }
FN unsigned bits(float f) { unsigned u; memcpy(&u, &f, 4); return u; }
FN float depth_of(u64 v) { unsigned u = (unsigned)(v >> 32); float f; memcpy(&f, &u, 4); return f; }
#endif
#define SKIN 0.02f  // a surface does not shade itself where it is hit at a slant, metres

// narrows a row's samples to those not outside the line through u and v, and a little more
FN void span(const float *u, const float *v, float s, float Y, float *from, float *to) {
  float d = u[1] - v[1];
  if (fabsf(d) < 1e-3f) return;
  float x = u[0] + (Y - u[1]) * (u[0] - v[0]) / d - 0.5f, more = 2 + 1e-5f / fabsf(d * s);
  if (d * s > 0) *from = fmaxf(*from, fminf(floorf(x - more), 1e6f));
  else *to = fminf(*to, fmaxf(ceilf(x + more), -1e6f));
}

// one triangle of one sub-frame; scr B,V,3 (x, y, depth), tri T,3, z B,H,W = depth bits << 32 | triangle
FN void triangle(const float *scr, const int *tri, u64 *z, long long b, int k, int V, int H, int W) {
  const float *p = scr + (b * V + tri[3 * k]) * 3, *q = scr + (b * V + tri[3 * k + 1]) * 3, *r = scr + (b * V + tri[3 * k + 2]) * 3;
  if (p[2] < 0.2f || q[2] < 0.2f || r[2] < 0.2f) return;
  float area = (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
  if (fabsf(area) < 1e-6f) return;
  float lx = fminf(p[0], fminf(q[0], r[0])), hx = fmaxf(p[0], fmaxf(q[0], r[0]));
  float ly = fminf(p[1], fminf(q[1], r[1])), hy = fmaxf(p[1], fmaxf(q[1], r[1]));
  if (hx < 0 || hy < 0 || lx > W || ly > H) return;
  int x0 = (int)fmaxf(0, ceilf(lx - 0.5f)), x1 = (int)fminf(W - 1, floorf(hx - 0.5f));
  int y0 = (int)fmaxf(0, ceilf(ly - 0.5f)), y1 = (int)fminf(H - 1, floorf(hy - 0.5f));
  float ip = 1 / p[2], iq = 1 / q[2], ir = 1 / r[2], s = 1 / area;
  for (int y = y0; y <= y1; y++) {
    float Y = y + 0.5f, from = (float)x0, to = (float)x1;
    if (x1 - x0 > 16)  // a club's triangle is long and thin and fills a hundredth of its box
      span(q, r, s, Y, &from, &to), span(r, p, s, Y, &from, &to), span(p, q, s, Y, &from, &to);
    for (int x = (int)from; x <= (int)to; x++) {
      float X = x + 0.5f;
      float a = ((q[0] - X) * (r[1] - Y) - (q[1] - Y) * (r[0] - X)) * s;
      float c = ((r[0] - X) * (p[1] - Y) - (r[1] - Y) * (p[0] - X)) * s;
      float e = 1 - a - c;
      if (a < -1e-5f || c < -1e-5f || e < -1e-5f) continue;
      float depth = 1 / (a * ip + c * iq + e * ir);
      lowest(z + (b * H + y) * (long long)W + x, ((u64)bits(depth) << 32) | (unsigned)k);
    }
  }
}

KERNEL raster(const float *scr, const int *tri, u64 *z, int B, int V, int T, int H, int W) {
  LOOP(i, (long long)B * T)
  triangle(scr, tri, z, i / T, (int)(i % T), V, H, W);
  DONE
}

FN float rsqrtf_(float v) { return 1 / sqrtf(v); }

FN float wave3(float x, float y, float z, float f) {
  return sinf(f * (x + 0.7f * z) + 1.3f * sinf(f * 0.6f * (y - x))) * sinf(f * (0.8f * z - 0.5f * y) + 1.1f * sinf(f * 0.7f * z));
}

// shirt patterns on the rest body: 1 across, 2 along, 3 checks, 4 yoke, 5 blotches, 6 two halves, 7 chest band
FN float pattern(int kind, float f, const float *o) {
  if (kind == 1) return sinf(o[2] * f) > 0.2f;
  if (kind == 2) return sinf(o[0] * f) > 0.2f;
  if (kind == 3) return 0.5f * (sinf(o[2] * f) > 0) + 0.5f * (sinf(o[0] * f) > 0);
  if (kind == 4) return o[3] > 0.72f;
  if (kind == 5) return wave3(o[0], o[1], o[2], f * 0.5f) > 0.1f;
  if (kind == 6) return o[0] > 0;
  if (kind == 7) return fabsf(o[3] - 0.66f) < 0.05f;
  return 0;
}

// share of the light that nothing stands in the way of, four looks; L x y in the lamp's picture, depth from it
FN float lit(const u64 *lamp, int side, const float *L) {
  float open = 0;
  for (int k = 0; k < 4; k++) {
    int x = (int)(L[0] + 0.5f * (k & 1)), y = (int)(L[1] + 0.5f * (k >> 1));
    if (x < 0 || y < 0 || x >= side || y >= side) { open += 1; continue; }
    u64 hit = lamp[(long long)y * side + x];
    open += hit == ~0ull || depth_of(hit) > L[2] - SKIN;
  }
  return open / 4;
}

// one picture pixel: mean over samples and over the K moments of the exposure; out n,h,w,3 linear light
// obj V,4: rest x y z and height share; col V,3; cls V (1 shirt); nrm B,V,3; par: sun 3, sun, sky, ground light, fold size, fold frequency,
// pattern frequency, second colour 3, shadow; lamp B,side,side: z-buffer seen from the sun (or none), sunny B,V,3: vertices in it
KERNEL shade(const float *scr, const int *tri, const u64 *z, const u64 *shadow, const u64 *lamp, const float *sunny, const float *nrm, const float *obj, const float *col, const int *cls, const float *bg, const float *par,
             float *out, int n, int K, int S, int V, int H, int W, int kind, int side) {
  int h = H / S, w = W / S;
  LOOP(i, (long long)n * h * w)
  int f = (int)(i / ((long long)h * w)), y = (int)(i / w % h), x = (int)(i % w);
  float sum[3] = {0, 0, 0};
  for (int k = 0; k < K; k++)
    for (int s = 0; s < S * S; s++) {
      long long b = (long long)f * K + k;
      int X = x * S + s % S, Y = y * S + s / S;
      u64 hit = z[(b * H + Y) * W + X];
      const float *back = bg + ((long long)y * w + x) * 3;
      if (hit == ~0ull) {
        float dark = shadow && shadow[(b * H + Y) * W + X] != ~0ull ? 1 - par[12] : 1;
        for (int c = 0; c < 3; c++) sum[c] += back[c] * dark;
        continue;
      }
      int t = (int)(hit & 0xffffffffu);
      int ia = tri[3 * t], ib = tri[3 * t + 1], ic = tri[3 * t + 2];
      const float *p = scr + (b * V + ia) * 3, *q = scr + (b * V + ib) * 3, *r = scr + (b * V + ic) * 3;
      float area = (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]), px = X + 0.5f, py = Y + 0.5f;
      float a = ((q[0] - px) * (r[1] - py) - (q[1] - py) * (r[0] - px)) / area / p[2];
      float c = ((r[0] - px) * (p[1] - py) - (r[1] - py) * (p[0] - px)) / area / q[2];
      float e = (1 - a * p[2] - c * q[2]) / r[2];
      float m = 1 / (a + c + e);
      a *= m, c *= m, e *= m;
      float N[3], O[4], C[3];
      for (int d = 0; d < 3; d++) {
        N[d] = a * nrm[(b * V + ia) * 3 + d] + c * nrm[(b * V + ib) * 3 + d] + e * nrm[(b * V + ic) * 3 + d];
        C[d] = a * col[3 * ia + d] + c * col[3 * ib + d] + e * col[3 * ic + d];
      }
      for (int d = 0; d < 4; d++) O[d] = a * obj[4 * ia + d] + c * obj[4 * ib + d] + e * obj[4 * ic + d];
      int cloth = cls[ia];
      if (cloth == 1 && kind) {
        float g = pattern(kind, par[8], O);
        for (int d = 0; d < 3; d++) C[d] += (par[9 + d] - C[d]) * g;
      }
      if (cloth) {  // folds
        N[0] += par[6] * wave3(O[0], O[1], O[2], par[7]), N[2] += par[6] * wave3(O[2], O[0], O[1], par[7] * 0.8f);
      }
      float l = rsqrtf_(N[0] * N[0] + N[1] * N[1] + N[2] * N[2] + 1e-9f);
      float sun = fmaxf(0, (N[0] * par[0] + N[1] * par[1] + N[2] * par[2]) * l), up = 0.5f + 0.5f * N[2] * l;
      if (lamp && sun > 0) {
        float L[3];
        for (int d = 0; d < 3; d++) L[d] = a * sunny[(b * V + ia) * 3 + d] + c * sunny[(b * V + ib) * 3 + d] + e * sunny[(b * V + ic) * 3 + d];
        sun *= lit(lamp + b * (long long)side * side, side, L);
      }
      float light = par[3] * sun + par[4] * up + par[5] * (1 - up);
      for (int d = 0; d < 3; d++) sum[d] += C[d] * light;
    }
  for (int c = 0; c < 3; c++) out[i * 3 + c] = sum[c] / (K * S * S);
  DONE
}
