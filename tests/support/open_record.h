/* A record of the open measurement data as a job: what its row of labels.csv says, the unit and the table a workshop
 * could have written for it, and whether a verdict on it is right. */
#ifndef TESTS_SUPPORT_OPEN_RECORD_H
#define TESTS_SUPPORT_OPEN_RECORD_H

#include <layshaft/judge.h>

/* What is known of the bearing. Records of gears, and bearings nobody has looked at, have nothing to compare with. */
typedef enum open_truth {
    OPEN_NOT_STATED,
    OPEN_SOUND,
    OPEN_INNER,
    OPEN_OUTER,
    OPEN_ELEMENT,
    OPEN_TRUTH_COUNT
} open_truth;
const char *open_truth_name(open_truth truth); /* "sound", "inner", ... */

/* One row of labels.csv; texts are as they stand there, "" where the row says nothing. */
typedef struct open_record {
    char file[64], set[16], said[64], grade[24], rpm[16];
    open_truth truth;
    bool microphone; /* recorded by one; all others by accelerometers */
} open_record;

/* LAYSHAFT_DATA, else the folder beside the project. */
const char *open_data_folder(void);
bool open_data_present(void);

/* The rows for which a job can be made, at most `most`. */
lay_status open_records_load(open_record *out, size_t most, size_t *count, lay_error *err);

/* A fault that an envelope analysis ought to show: graded Y1 or Y2 by any of the three published methods, or on one of
 * the ungraded rigs a fault of a ring. */
bool open_record_is_clear(const open_record *record);

/* A record diagnosed as a job of its own. */
typedef struct open_answer {
    lay_job job;
    lay_diagnosis diagnosis;
} open_answer;

/* Make the job in `folder` (made here, or there already): unit.ini, and runs.csv with the speed as given, never the
 * measured one. Then load and diagnose it as the program would. Free with open_answer_free, after errors too. */
lay_status open_record_diagnose(const open_record *record, const char *folder, open_answer *out, lay_error *err);
void open_answer_free(open_answer *answer);
/* Delete what open_record_diagnose has made. */
void open_job_remove(const char *folder);

typedef enum open_mark {
    OPEN_SHOWN,   /* nothing to compare with */
    OPEN_RIGHT,   /* the faulty element is the first suspect, or a sound bearing is not accused */
    OPEN_MISSED,  /* faulty, and nothing is accused */
    OPEN_WRONG,   /* faulty, and another element, or something else, is the first suspect */
    OPEN_ACCUSED, /* sound, and something is accused */
    OPEN_MARK_COUNT
} open_mark;
const char *open_mark_name(open_mark mark); /* "-", "right", ... */
open_mark open_record_mark(const open_record *record, const lay_verdict *verdict);

#endif
