#include "cv.h"

#include <cstring>
#include <opencv2/core.hpp>
#include <opencv2/mcc.hpp>
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

extern "C" {

void tlm_threads(int n) { try { cv::setNumThreads(n); } catch (...) {} }

// tlm_charts looks for 24-patch charts in a BGR picture: at most `most`, eight numbers each (x, y of four corners).
// least_px is the shorter side to which a smaller picture is enlarged for the search.
int tlm_charts(void *bgr, int most, int least_px, float *boxes, int *count, char *err, int size) {
  GUARD({
    *count = 0;
    cv::theRNG().state = 1;  // per thread, and threads change under Go: the same start every time
    auto d = cv::mcc::CCheckerDetector::create();
    auto p = cv::mcc::DetectorParameters::create();
    p->minImageSize = least_px;
    if (!d->process(*static_cast<cv::Mat *>(bgr), cv::mcc::MCC24, most, false, p)) return 0;
    for (auto &c : d->getListColorChecker()) {
      if (*count >= most) break;
      auto b = c->getBox();
      if (b.size() != 4) continue;
      for (int i = 0; i < 4; i++) {
        boxes[8 * *count + 2 * i] = b[i].x;
        boxes[8 * *count + 2 * i + 1] = b[i].y;
      }
      ++*count;
    }
  })
}

int tlm_throw(char *err, int size) { GUARD(CV_Assert(false)) }
}
