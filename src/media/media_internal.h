/*
 * What the parts of media share.
 *
 * A file is read once without decoding: every video packet becomes a packet_entry, known again later by its
 * size and a hash of its ends. The entries are put in display order (rank) with repaired times. From then on
 * no timestamp of the demuxer or decoder is trusted: a packet read after a seek is identified against the
 * entries, its entry's index travels through the decoder in place of a timestamp, and so each decoded frame
 * is known for what it is.
 *
 *   demux (packets of the open file) -> decoder (frames, by entry) -> picture (full-range planar image) ->
 * callback
 */
#ifndef STOPMARK_MEDIA_INTERNAL_H
#define STOPMARK_MEDIA_INTERNAL_H

#include "stopmark/media.h"

#include <libavcodec/avcodec.h>
#include <libavcodec/bsf.h>
#include <libavformat/avformat.h>
#include <libswscale/swscale.h>

#define SM_MEDIA_MAX_SIDE_PX 8192
#define SM_MEDIA_MAX_PIXELS (40 * 1000 * 1000) /* above 7680 x 4320 */
#define SM_MEDIA_MAX_FRAMES 4000000U           /* 44 hours at 25 frames a second */

enum packet_flag {
    PACKET_KEY = 1,     /* decodes alone, as far as the container and the parser say */
    PACKET_CORRUPT = 2, /* the demuxer marked it */
    PACKET_HIDDEN =
        4, /* never a frame of its own: second field, cut by an edit list, before the first frame */
    PACKET_NO_FRAME = 8, /* seen to give no frame when decoded */
    PACKET_WANTED = 16,  /* the running scan delivers it */
    PACKET_FIELD_2 = 32, /* completes the frame of the packet before */
};

#define NO_RANK UINT32_MAX

/* One video packet; 32 bytes. */
struct packet_entry {
    int64_t time_ticks; /* display time since the file's first frame, in the file's tick */
    int64_t pos;        /* byte position in the file, -1 = not known */
    uint32_t size_bytes;
    uint32_t hash; /* of its first and last bytes */
    uint32_t rank; /* place in display order, NO_RANK when hidden */
    uint32_t flags;
};

/* What timestamps the index pass met; needed only until times are settled. */
struct raw_time {
    int64_t pts, dts;
    int32_t picture_order; /* of the parser, H.264 and HEVC */
    uint8_t picture_type;  /* enum AVPictureType, 0 = not known */
    uint8_t field;         /* enum AVPictureStructure, 0 = not known */
};

struct key_entry {
    uint32_t packet_idx;
    int64_t dts; /* as the demuxer gave it, for seeking; AV_NOPTS_VALUE = none */
};

struct media_index {
    struct packet_entry *packet; /* in file order */
    size_t n_packets, packet_capacity;
    uint32_t *order; /* display order: rank -> packet */
    size_t n_frames;
    struct key_entry *key; /* in file order */
    size_t n_keys, key_capacity;
    bool is_pos_sorted;
    int64_t frame_ticks; /* typical time from frame to frame */
};

/* The bytes of a file. */
struct media_bytes {
    int fd, open_errno; /* fd -1: why not */
    uint32_t mode;      /* as stat() has it */
    int64_t size_bytes;
};

struct media_file {
    const char *path;
    bool ignores_index;    /* the file's own index is rubbish */
    const char *container; /* short name */
    const char *codec;
    struct media_index index;
    double tick_s;
    double start_s, duration_s;
    int32_t width_px, height_px; /* as stored */
    int32_t rotation_deg;
    double pixel_aspect;
    size_t first_frame_idx; /* over all files */
    size_t n_lost_at_start; /* frames before the first that decodes */
    double other_size_s;    /* where a frame of another size was met, NAN = nowhere */
    bool has_texts;         /* there is a text track beside the picture */
    struct media_bytes ahead; /* opened ahead: no path is opened any more */
    bool is_open_ahead;
};

/* The one file that is open for reading. */
struct media_demux {
    int fd;
    bool owns_fd;
    int64_t at_bytes, size_bytes;
    AVIOContext *io;
    AVFormatContext *format;
    AVStream *stream;
    AVBSFContext
        *unpack; /* splits the packed B-frames of DivX files into packets of their own, NULL = not needed */
    bool is_at_end; /* all was sent to unpack */
    AVPacket *packet;
    bool ignores_index; /* opened as if the file had no index */
    bool has_packet;    /* packet holds entry next_idx, read ahead */
    uint32_t next_idx;  /* entry that comes next, meaningful while synced */
};

struct media_decoder {
    AVCodecContext *context;
    AVFrame *frame;       /* last that came out */
    AVFrame *held;        /* came out, but belongs behind what was asked */
    bool is_running;      /* packets from run_start on were sent without a gap */
    bool is_draining;     /* end was signalled: nothing more can be sent in this run */
    bool is_skipping;     /* frames not wanted and not referred to were left out in this run */
    bool is_damaged;      /* frame */
    bool is_held_damaged; /* held */
    uint32_t run_start;
    int64_t tainted_idx; /* last damaged entry of this run that others build on, -1 = none */
    int64_t last_idx;    /* entry of frame, -1 = none yet in this run */
    int64_t held_idx;    /* entry of held, -1 = none */
    int64_t sent_end;    /* one past the last entry sent */
};

/* What libswscale is set up for; all int, so that it can be compared as bytes. */
struct media_scaling {
    int in_width, in_height, in_format, is_in_full, matrix;
    int out_width, out_height, out_format, flags;
};
struct media_converter {
    struct SwsContext *sws;
    struct media_scaling scaling;
};
struct media_picture {
    struct media_converter converter;
    AVFrame *scaled;
    uint8_t *plane[3];
    size_t plane_capacity[3];
    uint8_t *lent; /* room for stretched luma that is not ours; NULL = none */
};

/* A stretch of damaged frames. */
struct damage {
    double start_s, end_s;
    size_t n;
};
#define MAX_DAMAGES 64

struct sm_media {
    struct sm_arena *arena;
    struct media_file *file;
    size_t n_files;
    size_t active; /* file that demux has open; n_files = none */
    struct media_demux demux;
    struct media_decoder decoder;
    struct media_picture picture;
    struct sm_media_info info;
    struct sm_findings findings;
    size_t n_lasting; /* findings that do not come from damage */
    struct damage damage[MAX_DAMAGES];
    size_t n_damages;
    bool has_more_damage; /* than the list takes */
    bool is_news;         /* something was noted that is no finding yet */
    bool is_busy;         /* inside a scan */
    bool (*goes_on)(void *user); /* asked before a packet is decoded; NULL = yes */
    void *goes_on_user;
    struct sm_timed_text *text; /* of all text tracks, once they were asked for */
    size_t n_texts, text_capacity;
    bool has_read_texts;
    struct media_remote *remote; /* who decodes, in a process of its own; NULL = this handle itself */
    uint32_t *active_told;       /* where others see which file is worked on; may be NULL */
};

/* ---- media_local.c: local files only ---- */

/* Open a file (its path and ignores_index) as a video and choose its stream. On failure nothing stays open.
 */
enum sm_status sm_media__demux_open(struct media_demux *demux, const struct media_file *file,
                                    struct sm_error *err) SM_CHECKED;
/* Open its bytes now, for a time when no path can be opened any more. */
void sm_media__file_open(struct media_file *file);
void sm_media__demux_close(struct media_demux *demux);
const char *sm_media__container_name(const struct media_demux *demux);

/* ---- media_texts.c: text tracks ---- */

bool sm_media__is_text_track(const AVStream *stream);

/* ---- media_demux.c: packets ---- */

/* What describes the packets of demux to a decoder. */
const AVCodecParameters *sm_media__parameters(const struct media_demux *demux);
/* Next packet of the video stream into demux->packet, whatever it is. 1 = one, 0 = end. */
int sm_media__demux_next(struct media_demux *demux);
uint32_t sm_media__packet_hash(const AVPacket *packet);
/* Packet of entry demux->next_idx into demux->packet: 1; 0 = end of file or position lost beyond mending. */
int sm_media__read(struct sm_media *media);
/* Make entry packet_idx the next one to be read. */
enum sm_status sm_media__seek(struct sm_media *media, uint32_t packet_idx, struct sm_error *err) SM_CHECKED;
/* Have file file_idx open at its start, decoder ready. */
enum sm_status sm_media__activate(struct sm_media *media, size_t file_idx, struct sm_error *err) SM_CHECKED;

/* ---- media_index.c and media_times.c: the list of frames ---- */

/* Read the open file to its end into file->index. */
enum sm_status sm_media__index(struct sm_media *media, struct media_file *file,
                               struct sm_error *err) SM_CHECKED;
void sm_media__index_release(struct media_index *index);
/* Display times out of raw timestamps. Adds findings about jumps. */
enum sm_status sm_media__index_times(struct sm_media *media, struct media_file *file,
                                     const struct raw_time *raw, struct sm_error *err) SM_CHECKED;
/* Put entries in display order by time_ticks; what is hidden gets no rank. */
enum sm_status sm_media__index_order(struct media_index *index) SM_CHECKED;
/* Rank of the frame on screen at time_s since the file's start: 0 before the first. */
size_t sm_media__rank_at(const struct media_file *file, double time_s);
double sm_media__entry_time_s(const struct media_file *file, const struct packet_entry *entry);
/* How many key entries stand at or before packet_idx. */
size_t sm_media__keys_up_to(const struct media_index *index, uint32_t packet_idx);
/* Key entry from which packet_idx can be decoded; back = how many keys further back. */
uint32_t sm_media__key_before(const struct media_index *index, uint32_t packet_idx, size_t back);

/* ---- media_decode.c ---- */

enum sm_status sm_media__decoder_open(struct media_decoder *decoder, const AVCodecParameters *parameters,
                                      const char *path, struct sm_error *err) SM_CHECKED;
void sm_media__decoder_close(struct media_decoder *decoder);
/* Send the next packet, or signal the end. may_skip: leave out what nobody wants or refers to. */
void sm_media__send_next(struct sm_media *media, bool may_skip);
/* Next frame of the run into decoder->held: 1, 0 = send more, -1 = the run is over. */
int sm_media__receive(struct sm_media *media);
void sm_media__drain(struct media_decoder *decoder);

/* ---- media_fetch.c ---- */

/* First frame that decodes in the active file: its entry into *packet_idx. SM_E_NOTFOUND when none does. */
enum sm_status sm_media__first_frame(struct sm_media *media, uint32_t *packet_idx,
                                     struct sm_error *err) SM_CHECKED;

enum fetched {
    FETCHED_NONE,    /* nothing decodes there */
    FETCHED_OWN,     /* the frame of the entry asked for */
    FETCHED_EARLIER, /* the entry gives none; this one stays on screen */
};
/* What comes after: tells how far the decoder must run. */
enum fetch_end {
    FETCH_RUNS_ON, /* a frame soon after this one */
    FETCH_ENDS,    /* one that starts at its own key */
    FETCH_ALONE,   /* the same, and this frame is wanted only if it decodes alone */
};
/* Decode the frame of entry packet_idx of the active file into decoder.frame. */
enum sm_status sm_media__fetch(struct sm_media *media, uint32_t packet_idx, enum fetch_end end,
                               enum fetched *fetched, struct sm_error *err) SM_CHECKED;

/* ---- media_picture.c ---- */

/* View of a decoded frame as a full-range image of the recording's size, valid until the next call. */
enum sm_status sm_media__picture(struct sm_media *media, const AVFrame *frame, struct sm_image *out,
                                 struct sm_error *err) SM_CHECKED;
void sm_media__picture_release(struct media_picture *picture);
/* Turn a plane clockwise by 90, 180 or 270 degrees. dst is tight: its stride is its width. */
void sm_media__turn_plane(uint8_t *dst, const uint8_t *src, ptrdiff_t stride, int32_t width_px,
                          int32_t height_px, int32_t rotation_deg);
/* sws_scale between frames with colour range and matrix honoured, full range out. */
enum sm_status sm_media__convert(struct media_converter *converter, const AVFrame *in, AVFrame *out,
                                 int flags, struct sm_error *err) SM_CHECKED;

/* ---- media_findings.c ---- */

void sm_media__note_damage(struct sm_media *media, double time_s);
/* Findings about a file just opened: cut off, starts broken, another size than the first. */
enum sm_status sm_media__note_oddities(struct sm_media *media, const struct media_file *file) SM_CHECKED;
/* Bring findings up to date with what was noted while decoding. */
enum sm_status sm_media__publish(struct sm_media *media, struct sm_error *err) SM_CHECKED;
enum sm_status sm_media__no_memory(struct sm_error *err);

/* ---- media.c ---- */

/* List the frames of all files. */
enum sm_status sm_media__open_files(struct sm_media *media, struct sm_error *err) SM_CHECKED;
/* A handle without a frame list yet. */
enum sm_status sm_media__new(struct sm_media **out, size_t n_files, struct sm_error *err) SM_CHECKED;

#endif
