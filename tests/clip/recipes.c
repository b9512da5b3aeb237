#include "make_clip.h"

#include <libavutil/avutil.h>

#define YUV(format) AV_PIX_FMT_YUV##format
#define LIMITED AVCOL_RANGE_MPEG
#define FULL AVCOL_RANGE_JPEG
#define UNSAID AVCOL_RANGE_UNSPECIFIED
#define LOSSLESS 1, 1
#define LOSSY 40, 3

const clip_recipe recipes[] = {
    {"plain.mp4", "mp4", "libx264", YUV(420P), UNSAID, 96, 80, 12, 25, 1, LOSSLESS, .reads_as = "mp4", .options = "qp=0"},
    {"full.mp4", "mp4", "libx264", YUV(420P), FULL, 96, 80, 5, 25, 1, LOSSLESS, .reads_as = "mp4", .options = "qp=0"},
    {"lossy.mp4", "mp4", "libx264", YUV(420P), LIMITED, 350, 350, 20, 25, 1, LOSSY, .reads_as = "mp4", .options = "crf=18"},
    {"deep.mp4", "mp4", "libx264", YUV(420P10), LIMITED, 96, 80, 5, 25, 1, LOSSLESS, .reads_as = "mp4", .options = "qp=0"},
    {"fine chroma.mp4", "mp4", "libx264", YUV(444P), LIMITED, 97, 81, 5, 25, 1, LOSSLESS, .reads_as = "mp4", .options = "qp=0"},
    {"grey.mp4", "mp4", "libx264", AV_PIX_FMT_GRAY8, FULL, 96, 80, 5, 25, 1, LOSSLESS, .reads_as = "mp4", .options = "qp=0"},
    {"uneven.mp4", "mp4", "libx264", YUV(420P), LIMITED, 96, 80, 12, 25, 1, LOSSLESS, .reads_as = "mp4", .uneven = true, .options = "qp=0"},
    {"patch.mp4", "mp4", "libx264", YUV(420P), LIMITED, 96, 80, 5, 25, 1, LOSSLESS, .reads_as = "mp4", .coloured = true,
     .options = "qp=0"},
    {"wide pixels.mp4", "mp4", "libx264", YUV(420P), LIMITED, 96, 80, 5, 25, 1, LOSSLESS, .reads_as = "mp4", .aspect_num = 9,
     .aspect_den = 8, .options = "qp=0"},
    {"turned 1.mov", "mov", "libx264", YUV(420P), LIMITED, 96, 80, 5, 30, 1, LOSSLESS, .reads_as = "mov", .quarter_turns = 1,
     .options = "qp=0"},
    {"turned 2.mov", "mov", "mjpeg", YUV(J420P), FULL, 96, 80, 5, 30, 1, LOSSY, .reads_as = "mov", .quarter_turns = 2},
    {"turned 3.mov", "mov", "libx264", YUV(420P), LIMITED, 96, 80, 5, 30, 1, LOSSLESS, .reads_as = "mov", .quarter_turns = 3,
     .coloured = true, .options = "qp=0"},
    {"one frame.mp4", "mp4", "libx264", YUV(420P), LIMITED, 96, 80, 1, 25, 1, LOSSLESS, .reads_as = "mp4", .options = "qp=0"},
    {"hevc.mp4", "mp4", "libx265", YUV(420P), LIMITED, 96, 80, 5, 25, 1, LOSSLESS, .reads_as = "mp4",
     .options = "x265-params=lossless=1\\:log-level=none\\:pools=1"},
    {"ntsc.mov", "mov", "mpeg4", YUV(420P), LIMITED, 96, 80, 9, 30000, 1001, LOSSY, .reads_as = "mov"},
    {"prores.mov", "mov", "prores_ks", YUV(422P10), LIMITED, 96, 80, 4, 25, 1, LOSSY, .reads_as = "mov"},
    {"packed.mov", "mov", "qtrle", AV_PIX_FMT_RGB24, UNSAID, 95, 79, 4, 15, 1, LOSSLESS, .reads_as = "mov", .coloured = true},
    {"raw.avi", "avi", "rawvideo", AV_PIX_FMT_BGR24, UNSAID, 94, 79, 4, 20, 1, LOSSLESS, .reads_as = "avi"},
    {"raw yuyv.avi", "avi", "rawvideo", AV_PIX_FMT_YUYV422, LIMITED, 96, 79, 4, 20, 1, LOSSLESS, .reads_as = "avi",
     .coloured = true},
    {"huff.avi", "avi", "huffyuv", YUV(422P), LIMITED, 96, 79, 4, 20, 1, LOSSLESS, .reads_as = "avi"},
    {"motion jpeg.avi", "avi", "mjpeg", YUV(J422P), FULL, 97, 79, 4, 20, 1, LOSSY, .reads_as = "avi"},
    {"xvid.avi", "avi", "mpeg4", YUV(420P), LIMITED, 96, 80, 9, 20, 1, LOSSY, .reads_as = "avi"},
    {"one.mpeg", "mpeg", "mpeg1video", YUV(420P), LIMITED, 96, 80, 14, 25, 1, LOSSY, .reads_as = "mpeg"},
    {"two.mpeg", "vob", "mpeg2video", YUV(420P), LIMITED, 370, 270, 14, 25, 1, LOSSY, .reads_as = "mpeg", .options = "bf=2"},
    {"elementary.mpg", "mpeg2video", "mpeg2video", YUV(420P), LIMITED, 96, 80, 14, 25, 1, LOSSY, .reads_as = "mpeg"},
    {"transport.ts", "mpegts", "libx264", YUV(420P), LIMITED, 96, 80, 9, 25, 1, LOSSLESS, .reads_as = "mpegts", .options = "qp=0"},
    {"grey.gif", "gif", "gif", AV_PIX_FMT_GRAY8, UNSAID, 97, 81, 7, 20, 1, LOSSLESS, .reads_as = "gif"},
    {"one frame.gif", "gif", "gif", AV_PIX_FMT_GRAY8, UNSAID, 97, 81, 1, 20, 1, LOSSLESS, .reads_as = "gif"},
    {"too fast.gif", "gif", "gif", AV_PIX_FMT_GRAY8, UNSAID, 97, 81, 7, 100, 1, LOSSLESS, .reads_as = "gif"},
    {"deep.mkv", "matroska", "ffv1", AV_PIX_FMT_GRAY16, UNSAID, 97, 81, 4, 50, 1, LOSSLESS, .reads_as = "matroska",
     .options = "strict=-2"},
    {"deep colour.mkv", "matroska", "ffv1", YUV(422P16), LIMITED, 97, 81, 4, 50, 1, LOSSLESS, .reads_as = "matroska",
     .coloured = true, .options = "strict=-2"},
    {"planar rgb.mkv", "matroska", "ffv1", AV_PIX_FMT_BGRA, UNSAID, 97, 81, 4, 50, 1, LOSSLESS, .reads_as = "matroska",
     .coloured = true},
    {"grey.png", "image2", "png", AV_PIX_FMT_GRAY8, UNSAID, 97, 81, 1, 1, 1, LOSSLESS, .reads_as = "png"},
    {"deep.png", "image2", "png", AV_PIX_FMT_GRAY16BE, UNSAID, 97, 81, 1, 1, 1, LOSSLESS, .reads_as = "png"},
    {"colour.png", "image2", "png", AV_PIX_FMT_RGB24, UNSAID, 97, 81, 1, 1, 1, LOSSLESS, .reads_as = "png", .coloured = true},
    {"alpha.png", "image2", "png", AV_PIX_FMT_RGBA, UNSAID, 97, 81, 1, 1, 1, LOSSLESS, .reads_as = "png", .coloured = true},
    {"grey alpha.png", "image2", "png", AV_PIX_FMT_YA8, UNSAID, 97, 81, 1, 1, 1, LOSSLESS, .reads_as = "png"},
    {"deep rgb.png", "image2", "png", AV_PIX_FMT_RGB48BE, UNSAID, 97, 81, 1, 1, 1, LOSSLESS, .reads_as = "png", .coloured = true},
    {"moving.png", "apng", "apng", AV_PIX_FMT_RGB24, UNSAID, 97, 81, 5, 10, 1, LOSSLESS, .reads_as = "apng"},
    {"still.jpg", "image2", "mjpeg", YUV(J420P), FULL, 97, 81, 1, 1, 1, LOSSY, .reads_as = "jpeg"},
    {"still.bmp", "image2", "bmp", AV_PIX_FMT_BGR24, UNSAID, 97, 81, 1, 1, 1, LOSSLESS, .reads_as = "bmp"},
    {"tiny.png", "image2", "png", AV_PIX_FMT_GRAY8, UNSAID, 3, 3, 1, 1, 1, LOSSLESS, .reads_as = "png"},
};
const int recipe_count = sizeof recipes / sizeof *recipes;
