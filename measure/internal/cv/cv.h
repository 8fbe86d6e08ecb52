// Guarded calls: every function catches what OpenCV throws, writes its text to err and returns 1; 0 is success.
#ifndef TILELAPSE_MEASURE_CV_H
#define TILELAPSE_MEASURE_CV_H
#ifdef __cplusplus
extern "C" {
#endif
void tlm_threads(int n);
int tlm_charts(void *bgr, int most, int least_px, float *boxes, int *count, char *err, int size);
int tlm_throw(char *err, int size);
#ifdef __cplusplus
}
#endif
#endif
