#include "cv.h"

#include <algorithm>
#include <climits>
#include <cmath>
#include <cstring>
#include <malloc.h>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

static int put(char *e, int n, const char *what) {
  std::strncpy(e, what, n - 1);
  e[n - 1] = 0;
  return 1;
}
#define GUARD(...)                                           \
  try {                                                      \
    __VA_ARGS__;                                             \
    return 0;                                                \
  } catch (const std::exception &x) {                        \
    return put(err, size, x.what());                         \
  } catch (...) {                                            \
    return put(err, size, "unknown exception");              \
  }

static cv::Mat &mat(void *p) { return *static_cast<cv::Mat *>(p); }

// write sorts the key points by a total order, so that the rows never depend on how the detector went about its work,
// and hands over x, y, size, angle, response a row.
static void write(const std::vector<cv::KeyPoint> &k, const cv::Mat &d, int count, void *points, void *descriptors) {
  std::vector<int> order(k.size());
  for (size_t i = 0; i < k.size(); i++) order[i] = int(i);
  std::sort(order.begin(), order.end(), [&](int a, int b) {
    const cv::KeyPoint &p = k[a], &q = k[b];
    if (p.response != q.response) return p.response > q.response;
    if (p.pt.y != q.pt.y) return p.pt.y < q.pt.y;
    if (p.pt.x != q.pt.x) return p.pt.x < q.pt.x;
    if (p.size != q.size) return p.size < q.size;
    if (p.angle != q.angle) return p.angle < q.angle;
    return a < b;
  });
  if (count > 0 && int(order.size()) > count) order.resize(count);
  int n = int(order.size());
  cv::Mat pts(n, 5, CV_32F), des(n, d.cols, d.type());
  for (int i = 0; i < n; i++) {
    const cv::KeyPoint &p = k[order[i]];
    float *r = pts.ptr<float>(i);
    r[0] = p.pt.x; r[1] = p.pt.y; r[2] = p.size; r[3] = p.angle; r[4] = p.response;
    d.row(order[i]).copyTo(des.row(i));
  }
  pts.copyTo(mat(points));
  des.copyTo(mat(descriptors));
}

// Whole numbers only below, so every machine gets the same sums whichever instructions it has: the wider ones where
// they are there.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__)
#define WIDER __attribute__((target_clones("avx2", "popcnt", "default")))
#else
#define WIDER
#endif

// dot of n 16-bit numbers, n a multiple of 8 or not; the compiler turns the loop into packed multiply-adds.
static inline __attribute__((always_inline)) int dot(const short *a, const short *b, int n) {
  int s = 0;
  for (int i = 0; i < n; i++) s += int(a[i]) * int(b[i]);
  return s;
}

static inline __attribute__((always_inline)) int hamming(const unsigned char *a, const unsigned char *b, int bytes) {
  int s = 0, i = 0;
  for (; i + 8 <= bytes; i += 8) {
    unsigned long long p, q;
    std::memcpy(&p, a + i, 8);
    std::memcpy(&q, b + i, 8);
    s += __builtin_popcountll(p ^ q);
  }
  for (; i < bytes; i++) s += __builtin_popcount(a[i] ^ b[i]);
  return s;
}

struct Two {
  float first = 1e30f, second = 1e30f;
  int at = -1;
  void see(float d, int i) {
    if (d < first) { second = first; first = d; at = i; }
    else if (d < second) second = d;
  }
  float ratio() const { return at < 0 || second > 1e29f ? 1.f : (second <= 0 ? 1.f : first / second); }
};

WIDER static void match16(const short *a, int na, const short *b, int nb, int dim, const int *ea, const int *eb, Two *ta, Two *tb) {
  const int block = 64;  // rows of b that stay in the nearest cache while a passes by
  for (int j0 = 0; j0 < nb; j0 += block) {
    const int j1 = nb < j0 + block ? nb : j0 + block;
    for (int i = 0; i < na; i++) {
      const short *p = a + size_t(i) * dim;
      for (int j = j0; j < j1; j++) {
        const int d = ea[i] + eb[j] - 2 * dot(p, b + size_t(j) * dim, dim);
        const float f = d < 0 ? 0.f : float(d);
        ta[i].see(f, j);
        tb[j].see(f, i);
      }
    }
  }
}

WIDER static void match_bits(const unsigned char *a, int na, const unsigned char *b, int nb, int bytes, Two *ta, Two *tb) {
  for (int i = 0; i < na; i++)
    for (int j = 0; j < nb; j++) {
      const float d = float(hamming(a + size_t(i) * bytes, b + size_t(j) * bytes, bytes));
      ta[i].see(d, j);
      tb[j].see(d, i);
    }
}

WIDER static void correlate(const short *ref, const short *img, int w, int channels, const int *centres, int n, int radius, int search, float *out) {
  const int side = 2 * search + 1;
  const int run = (2 * radius + 1) * channels;
  for (int k = 0; k < n; k++) {
    const int cx = centres[2 * k];
    const int cy = centres[2 * k + 1];
    float *o = out + size_t(k) * side * side;
    for (int sy = -search; sy <= search; sy++)
      for (int sx = -search; sx <= search; sx++) {
        long long sum = 0;
        for (int y = -radius; y <= radius; y++)
          sum += dot(ref + (size_t(cy + y) * w + cx - radius) * channels, img + (size_t(cy + y + sy) * w + cx + sx - radius) * channels, run);
        *o++ = float(sum);
      }
  }
}

extern "C" {

// What gocv v0.31.0 has no name for, as the headers have it.
int tl_constant(int which) {
  switch (which) {
    case 0: return cv::RANSAC;
    case 1: return cv::USAC_MAGSAC;
  }
  return -1;
}

void tl_threads(int n) { try { cv::setNumThreads(n); } catch (...) {} }

void tl_give_back(int bytes) {
#ifdef M_MMAP_THRESHOLD
  mallopt(M_MMAP_THRESHOLD, bytes);
#else
  (void)bytes;
#endif
}

int tl_sift(void *img, int count, double contrast, double edge, void *points, void *descriptors, char *err, int size) {
  GUARD({
    auto s = cv::SIFT::create(0, 3, contrast, edge);
    std::vector<cv::KeyPoint> k;
    s->detect(mat(img), k);
    // The strongest first: describing is the dear half.
    std::sort(k.begin(), k.end(), [](const cv::KeyPoint &p, const cv::KeyPoint &q) {
      if (p.response != q.response) return p.response > q.response;
      if (p.pt.y != q.pt.y) return p.pt.y < q.pt.y;
      if (p.pt.x != q.pt.x) return p.pt.x < q.pt.x;
      if (p.size != q.size) return p.size < q.size;
      return p.angle < q.angle;
    });
    if (count > 0 && int(k.size()) > count) k.resize(count);
    cv::Mat d;
    if (!k.empty()) s->compute(mat(img), k, d);
    write(k, d, count, points, descriptors);
  })
}

int tl_affine(void *img, int count, double contrast, int max_tilt, void *points, void *descriptors, char *err, int size) {
  GUARD({
    auto s = cv::SIFT::create(count, 3, contrast);
    auto f = cv::AffineFeature::create(s, max_tilt, 0);
    std::vector<cv::KeyPoint> k;
    cv::Mat d;
    f->detectAndCompute(mat(img), cv::noArray(), k, d);
    write(k, d, 0, points, descriptors);
  })
}

int tl_akaze(void *img, double threshold, int count, void *points, void *descriptors, char *err, int size) {
  GUARD({
    auto s = cv::AKAZE::create(cv::AKAZE::DESCRIPTOR_MLDB, 0, 3, float(threshold));
    std::vector<cv::KeyPoint> k;
    cv::Mat d;
    s->detectAndCompute(mat(img), cv::noArray(), k, d);
    write(k, d, count, points, descriptors);
  })
}

int tl_orb(void *img, int count, void *points, void *descriptors, char *err, int size) {
  GUARD({
    auto s = cv::ORB::create(count, 1.2f, 8, 15, 0, 2, cv::ORB::HARRIS_SCORE, 31, 12);
    std::vector<cv::KeyPoint> k;
    cv::Mat d;
    s->detectAndCompute(mat(img), cv::noArray(), k, d);
    write(k, d, count, points, descriptors);
  })
}

int tl_clahe(void *src, void *dst, double clip, int tiles, char *err, int size) {
  GUARD(cv::createCLAHE(clip, cv::Size(tiles, tiles))->apply(mat(src), mat(dst)))
}

int tl_homography(void *from, void *to, int method, double threshold, int iterations, void *h, void *mask, char *err, int size) {
  GUARD({
    cv::Mat m, got = cv::findHomography(mat(from), mat(to), method, threshold, m, iterations, 0.9999);
    got.copyTo(mat(h));
    m.copyTo(mat(mask));
  })
}

int tl_match16(const short *a, int na, const short *b, int nb, int dim, int *best_ab, float *ratio_ab, int *best_ba, float *ratio_ba, char *err, int size) {
  GUARD({
    std::vector<int> ea(na); std::vector<int> eb(nb);
    for (int i = 0; i < na; i++) ea[i] = dot(a + size_t(i) * dim, a + size_t(i) * dim, dim);
    for (int j = 0; j < nb; j++) eb[j] = dot(b + size_t(j) * dim, b + size_t(j) * dim, dim);
    std::vector<Two> ta(na); std::vector<Two> tb(nb);
    match16(a, na, b, nb, dim, ea.data(), eb.data(), ta.data(), tb.data());
    for (int i = 0; i < na; i++) { best_ab[i] = ta[i].at; ratio_ab[i] = std::sqrt(ta[i].ratio()); }
    for (int j = 0; j < nb; j++) { best_ba[j] = tb[j].at; ratio_ba[j] = std::sqrt(tb[j].ratio()); }
  })
}

int tl_match_bits(const unsigned char *a, int na, const unsigned char *b, int nb, int bytes, int *best_ab, float *ratio_ab, int *best_ba, float *ratio_ba, char *err, int size) {
  GUARD({
    std::vector<Two> ta(na); std::vector<Two> tb(nb);
    match_bits(a, na, b, nb, bytes, ta.data(), tb.data());
    for (int i = 0; i < na; i++) { best_ab[i] = ta[i].at; ratio_ab[i] = ta[i].ratio(); }
    for (int j = 0; j < nb; j++) { best_ba[j] = tb[j].at; ratio_ba[j] = tb[j].ratio(); }
  })
}

int tl_correlate(const short *ref, const short *img, int w, int h, int channels, const int *centres, int n, int radius, int search, float *out, char *err, int size) {
  GUARD({
    correlate(ref, img, w, channels, centres, n, radius, search, out);
    (void)h;
  })
}

int tl_throw(char *err, int size) { GUARD(CV_Error(cv::Error::StsError, "on purpose")) }
}
