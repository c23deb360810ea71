/*
 * Opens one local file as a video: what it is, is told by its content and checked against a fixed list before
 * any demuxer runs. Bytes come through our own descriptor and every further file a demuxer may ask for is
 * refused, so a hostile file reaches neither its neighbours nor the network.
 */
#include "media_internal.h"

#include <libavutil/avstring.h>

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <threads.h>
#include <unistd.h>

#define IO_BUFFER_BYTES (64 * 1024)
#define PROBE_BYTES (1024 * 1024)
#define LARGEST_BLOCK_BYTES ((size_t)256 * 1024 * 1024)

/* FFmpeg's short names of what is opened; raw streams last. */
static const char *const containers[] = {"mov,mp4,m4a,3gp,3g2,mj2",
                                         "matroska,webm",
                                         "avi",
                                         "mpeg",
                                         "mpegts",
                                         "asf",
                                         "dv",
                                         "mpegvideo",
                                         "h264",
                                         "hevc",
                                         "m4v"};

/* Content that people do hand in by mistake, with a word for it. */
static const struct {
    const char *name, *words;
} refused[] = {
    {"hls", "a playlist (it only points to other files)"},
    {"dash", "a playlist (it only points to other files)"},
    {"concat", "a list of other files"},
    {"sdp", "a description of a network stream"},
    {"rtsp", "a description of a network stream"},
    {"image2", "a picture"},
    {"srt", "subtitles"},
    {"ass", "subtitles"},
    {"webvtt", "subtitles"},
    {"microdvd", "subtitles"},
    {"subviewer", "subtitles"},
    {"tty", "text"},
    {"wav", "sound only"},
    {"mp3", "sound only"},
    {"flac", "sound only"},
    {"aac", "sound only"},
    {"ogg", "sound or a video in a container that survey recorders do not use"},
};

static void set_up_libraries(void)
{
    av_log_set_level(AV_LOG_QUIET);
    av_max_alloc(LARGEST_BLOCK_BYTES);
}

static int read_bytes(void *opaque, uint8_t *buffer, int size)
{
    struct media_demux *demux = opaque;
    ssize_t n;
    do {
        n = pread(demux->fd, buffer, (size_t)size, (off_t)demux->at_bytes);
    } while (n < 0 && errno == EINTR);
    demux->at_bytes += n > 0 ? n : 0;
    return n > 0 ? (int)n : n == 0 ? AVERROR_EOF : AVERROR(errno);
}

static int64_t seek_bytes(void *opaque, int64_t offset, int whence)
{
    struct media_demux *demux = opaque;
    if (whence & AVSEEK_SIZE) {
        return demux->size_bytes;
    }
    int way = whence & ~AVSEEK_FORCE;
    int64_t from = way == SEEK_CUR ? demux->at_bytes : way == SEEK_END ? demux->size_bytes : 0;
    if (offset < -from || offset > INT64_MAX - from) {
        return AVERROR(EINVAL);
    }
    demux->at_bytes = from + offset;
    return demux->at_bytes;
}

static struct media_bytes open_path(const char *path)
{
    struct media_bytes bytes = {.fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY)};
    struct stat status;
    if (bytes.fd < 0 || fstat(bytes.fd, &status) < 0) {
        bytes.open_errno = errno;
        return bytes;
    }
    bytes.mode = status.st_mode;
    bytes.size_bytes = status.st_size;
    return bytes;
}

void sm_media__file_open(struct media_file *file)
{
    file->ahead = open_path(file->path);
    file->is_open_ahead = true;
}

static int refuse_file(AVFormatContext *format, AVIOContext **io, const char *url, int flags,
                       AVDictionary **options)
{
    (void)format;
    (void)url;
    (void)flags;
    (void)options;
    *io = NULL;
    return AVERROR(EPERM);
}

static enum sm_status open_bytes(struct media_demux *demux, const struct media_file *file, struct sm_error *err)
{
    const char *path = file->path;
    struct media_bytes bytes = file->is_open_ahead ? file->ahead : open_path(path);
    demux->fd = bytes.fd;
    demux->owns_fd = !file->is_open_ahead;
    demux->size_bytes = bytes.size_bytes;
    if (bytes.open_errno) {
        sm_error_at(err, SM_E_IO, path, 0, 0, "the video cannot be opened: %s", strerror(bytes.open_errno));
        return sm_error_remedy(err,
                               "check the name and the right to read it; a video is a file on this machine");
    }
    if (!S_ISREG(bytes.mode)) {
        sm_error_at(err, SM_E_IO, path, 0, 0, "%s, not a video file",
                    S_ISDIR(bytes.mode) ? "this is a folder" : "this is a device or pipe");
        return sm_error_remedy(err, "name the video file itself");
    }
    if (bytes.size_bytes == 0) {
        sm_error_at(err, SM_E_FORMAT, path, 0, 0, "the file is empty");
        return sm_error_remedy(err, "copy it again from the recorder");
    }
    uint8_t *buffer = av_malloc(IO_BUFFER_BYTES);
    demux->io =
        buffer ? avio_alloc_context(buffer, IO_BUFFER_BYTES, 0, demux, read_bytes, NULL, seek_bytes) : NULL;
    if (!demux->io) {
        av_free(buffer);
        return sm_media__no_memory(err);
    }
    return SM_OK;
}

static bool is_listed(const AVInputFormat *format)
{
    for (size_t i = 0; i < sizeof containers / sizeof containers[0]; i++) {
        if (strcmp(format->name, containers[i]) == 0) {
            return true;
        }
    }
    return false;
}

static enum sm_status refuse_container(const AVInputFormat *format, const char *path, struct sm_error *err)
{
    const char *words = strstr(format->name, "_pipe") ? "a picture" : NULL;
    for (size_t i = 0; i < sizeof refused / sizeof refused[0] && !words; i++) {
        words = av_match_name(refused[i].name, format->name) ? refused[i].words : NULL;
    }
    if (words) {
        sm_error_at(err, SM_E_UNSUPPORTED, path, 0, 0, "this is %s, not a video file", words);
        return sm_error_remedy(err, "name the video file itself");
    }
    sm_error_at(err, SM_E_UNSUPPORTED, path, 0, 0, "container \"%s\" is not opened here", format->name);
    return sm_error_remedy(err, "convert it to MP4, MKV, AVI or MPEG, keeping picture and timing");
}

static enum sm_status find_container(struct media_demux *demux, const char *path,
                                     const AVInputFormat **format, struct sm_error *err)
{
    int score = av_probe_input_buffer2(demux->io, format, "", NULL, 0, PROBE_BYTES);
    if (score < 0 || !*format) {
        sm_error_at(err, SM_E_UNSUPPORTED, path, 0, 0,
                    "the content is that of no video container known here");
        return sm_error_remedy(err, "check that it is a video and was copied whole");
    }
    return is_listed(*format) ? SM_OK : refuse_container(*format, path, err);
}

/* Walk the top-level boxes: a recording that was cut off while it ran has its data but never got its index.
 */
static bool lacks_moov(const struct media_demux *demux)
{
    int64_t at = 0;
    for (int i = 0; i < 4096; i++) {
        uint8_t head[16] = {0};
        if (pread(demux->fd, head, sizeof head, (off_t)at) < 8) {
            return true;
        }
        uint64_t size = (uint64_t)head[0] << 24 | (uint64_t)head[1] << 16 | (uint64_t)head[2] << 8 | head[3];
        if (memcmp(head + 4, "moov", 4) == 0) {
            return false;
        }
        if (size == 1) {
            size = 0;
            for (int k = 8; k < 16; k++) {
                size = size << 8 | head[k];
            }
        }
        if (size < 8 || size > (uint64_t)(demux->size_bytes - at)) {
            return true;
        }
        at += (int64_t)size;
    }
    return false;
}

static enum sm_status open_failed(const struct media_demux *demux, const AVInputFormat *format, int code,
                                  const char *path, struct sm_error *err)
{
    if (code == AVERROR(ENOMEM)) {
        sm_error_at(err, SM_E_FORMAT, path, 0, 0,
                    "it asks for more memory than can be had: damaged, or this machine is out of memory");
        return sm_error_remedy(err, "copy it again from the recorder; close other programs");
    }
    if (av_match_name("mp4", format->name) && lacks_moov(demux)) {
        sm_error_at(
            err, SM_E_FORMAT, path, 0, 0,
            "the index of this MP4 (moov) is missing: the recording was interrupted or not copied whole");
        return sm_error_remedy(err,
                               "copy it again, or have the recorder or its maker's tool finish the file");
    }
    char text[AV_ERROR_MAX_STRING_SIZE] = "";
    av_strerror(code, text, sizeof text);
    sm_error_at(err, SM_E_FORMAT, path, 0, 0, "damaged beyond use (%s: %s)", format->name, text);
    return sm_error_remedy(err, "copy it again from the recorder");
}

static enum sm_status open_format(struct media_demux *demux, const AVInputFormat *format, const char *path,
                                  struct sm_error *err)
{
    demux->format = avformat_alloc_context();
    if (!demux->format) {
        return sm_media__no_memory(err);
    }
    demux->format->pb = demux->io;
    demux->format->io_open = refuse_file;
    demux->format->protocol_whitelist = av_strdup("file");
    demux->format->format_whitelist = av_strdup(format->name);
    demux->io->seekable = demux->ignores_index ? 0 : AVIO_SEEKABLE_NORMAL; /* the index stands at the end */
    int code = avformat_open_input(&demux->format, "", format, NULL);
    demux->io->seekable = AVIO_SEEKABLE_NORMAL;
    if (code >= 0) {
        code = avformat_find_stream_info(demux->format, NULL);
    }
    return code >= 0 ? SM_OK : open_failed(demux, format, code, path, err);
}

static bool has_sound(const AVFormatContext *format)
{
    for (unsigned i = 0; i < format->nb_streams; i++) {
        if (format->streams[i]->codecpar->codec_type == AVMEDIA_TYPE_AUDIO) {
            return true;
        }
    }
    return false;
}

static enum sm_status check_size(const AVCodecParameters *codec, const char *path, struct sm_error *err)
{
    if (codec->width <= SM_MEDIA_MAX_SIDE_PX && codec->height <= SM_MEDIA_MAX_SIDE_PX &&
        (int64_t)codec->width * codec->height <= SM_MEDIA_MAX_PIXELS) {
        return SM_OK;
    }
    sm_error_at(err, SM_E_RANGE, path, 0, 0,
                "the picture is %d x %d, more than is decoded here (7680 x 4320)", codec->width,
                codec->height);
    return sm_error_remedy(err, "check the file; make it smaller if it really is that large");
}

static enum sm_status choose_stream(struct media_demux *demux, const char *path, struct sm_error *err)
{
    AVFormatContext *format = demux->format;
    int idx = av_find_best_stream(format, AVMEDIA_TYPE_VIDEO, -1, -1, NULL, 0);
    if (idx < 0 || (format->streams[idx]->disposition & AV_DISPOSITION_ATTACHED_PIC)) {
        sm_error_at(err, SM_E_FORMAT, path, 0, 0,
                    has_sound(format) ? "there is sound in this file but no video"
                                      : "there is no video in this file");
        return sm_error_remedy(err, "name the file that holds the picture");
    }
    for (unsigned i = 0; i < format->nb_streams; i++) {
        format->streams[i]->discard = (int)i == idx ? AVDISCARD_DEFAULT : AVDISCARD_ALL;
    }
    demux->stream = format->streams[idx];
    return check_size(demux->stream->codecpar, path, err);
}

/* DivX files keep a B-frame in the packet of the frame it leans on; only AVI has them. */
static enum sm_status prepare_unpacking(struct media_demux *demux, struct sm_error *err)
{
    const AVBitStreamFilter *filter = av_bsf_get_by_name("mpeg4_unpack_bframes");
    bool may_be_packed = demux->stream->codecpar->codec_id == AV_CODEC_ID_MPEG4 &&
                         av_match_name("avi", demux->format->iformat->name);
    if (!may_be_packed || !filter) {
        return SM_OK;
    }
    if (av_bsf_alloc(filter, &demux->unpack) < 0 ||
        avcodec_parameters_copy(demux->unpack->par_in, demux->stream->codecpar) < 0) {
        return sm_media__no_memory(err);
    }
    if (av_bsf_init(demux->unpack) < 0) {
        av_bsf_free(&demux->unpack);
    }
    return SM_OK;
}

const char *sm_media__container_name(const struct media_demux *demux)
{
    const char *name = demux->format->iformat->name;
    return av_match_name("mp4", name) ? "mp4" : av_match_name("matroska", name) ? "matroska" : name;
}

enum sm_status sm_media__demux_open(struct media_demux *demux, const struct media_file *file,
                                    struct sm_error *err)
{
    const char *path = file->path;
    static once_flag once = ONCE_FLAG_INIT;
    call_once(&once, set_up_libraries);
    *demux = (struct media_demux){.fd = -1, .ignores_index = file->ignores_index};
    const AVInputFormat *format = NULL;
    enum sm_status status = open_bytes(demux, file, err);
    if (status == SM_OK) {
        status = find_container(demux, path, &format, err);
    }
    if (status == SM_OK) {
        status = open_format(demux, format, path, err);
    }
    if (status == SM_OK) {
        status = choose_stream(demux, path, err);
    }
    if (status == SM_OK) {
        status = prepare_unpacking(demux, err);
    }
    if (status == SM_OK) {
        demux->packet = av_packet_alloc();
        status = demux->packet ? SM_OK : sm_media__no_memory(err);
    }
    if (status != SM_OK) {
        sm_media__demux_close(demux);
    }
    return status;
}

void sm_media__demux_close(struct media_demux *demux)
{
    av_packet_free(&demux->packet);
    av_bsf_free(&demux->unpack);
    avformat_close_input(&demux->format);
    if (demux->io) {
        av_freep(&demux->io->buffer);
        avio_context_free(&demux->io);
    }
    if (demux->fd >= 0 && demux->owns_fd) {
        close(demux->fd);
    }
    *demux = (struct media_demux){.fd = -1};
}
