// Guarded calls: every function catches what OpenCV throws, writes its text to err and returns 1; 0 is success.
#ifndef TILELAPSE_REGISTER_CV_H
#define TILELAPSE_REGISTER_CV_H
#ifdef __cplusplus
extern "C" {
#endif
void tl_threads(int n);
void tl_give_back(int bytes);
int tl_constant(int which);
int tl_sift(void *img, int count, double contrast, double edge, void *points, void *descriptors, char *err, int size);
int tl_affine(void *img, int count, double contrast, int max_tilt, void *points, void *descriptors, char *err, int size);
int tl_akaze(void *img, double threshold, int count, void *points, void *descriptors, char *err, int size);
int tl_orb(void *img, int count, void *points, void *descriptors, char *err, int size);
int tl_clahe(void *src, void *dst, double clip, int tiles, char *err, int size);
int tl_homography(void *from, void *to, int method, double threshold, int iterations, void *h, void *mask, char *err, int size);
int tl_match16(const short *a, int na, const short *b, int nb, int dim, int *best_ab, float *ratio_ab, int *best_ba, float *ratio_ba, char *err, int size);
int tl_match_bits(const unsigned char *a, int na, const unsigned char *b, int nb, int bytes, int *best_ab, float *ratio_ab, int *best_ba, float *ratio_ba, char *err, int size);
int tl_correlate(const short *ref, const short *img, int w, int h, int channels, const int *centres, int n, int radius, int search, float *out, char *err, int size);
int tl_throw(char *err, int size);
#ifdef __cplusplus
}
#endif
#endif
