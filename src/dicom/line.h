/* An association that we ask for, with limits on what the other side may do; for the C++ of this folder. */
#ifndef SL_DICOM_LINE_H
#define SL_DICOM_LINE_H

#include "dicom/call.h"

#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/dcmlayer.h>
#include <dcmtk/dcmnet/dimse.h>

/* What may still come, looked at with every read from the network. */
struct sl_line_limits {
    std::chrono::steady_clock::time_point end;
    int silence_s = 30, whole_s = 300;
    unsigned long long left = 0; /* bytes */
    unsigned long long came = 0; /* since `end` was last moved */
    bool moves = false;          /* data that keeps coming moves `end`: objects may be large */
    enum { NOTHING, SILENT, SLOW, LARGE } broke = NOTHING;

    void restart(unsigned long long bytes);
};

struct sl_line_context {
    std::string abstract;
    std::vector<std::string> syntaxes;
    bool stores = false; /* the other side stores with us (C-GET) */
};

class sl_line : public sl_dicom_call
{
public:
    sl_line(const sl_dicom_peer *peer, unsigned most_pdu);
    ~sl_line() override;

    sl_status open(const std::vector<sl_line_context> &contexts, sl_error *error);
    /* Of a class; 0: refused. */
    T_ASC_PresentationContextID offered(const char *abstract) { return ASC_findAcceptedPresentationContextID(association(), abstract); }
    sl_line_limits &limits() { return limit; }
    int silence() const { return peer->answer_s; }

    OFCondition send(T_ASC_PresentationContextID id, T_DIMSE_Message *message, DcmDataset *data);
    /* The next command; restarts the limits. */
    OFCondition receive(T_ASC_PresentationContextID *id, T_DIMSE_Message *message);
    /* The data set behind a command, owned by the caller. */
    OFCondition receive(T_ASC_PresentationContextID id, std::unique_ptr<DcmDataset> *data);
    void cancel(T_ASC_PresentationContextID id, unsigned short message);

    void close(); /* in peace */
    /* Ends it; a sentence of what went wrong. */
    sl_status broken(const OFCondition &condition, sl_error *error);
    std::string who() const { return std::string(peer->title) + " at " + peer->host + ":" + std::to_string(peer->port); }

protected:
    DcmTransportLayer *around(DcmTLSTransportLayer *secure) override;

private:
    sl_line_limits limit;
    std::unique_ptr<DcmTransportLayer> layer;
};

/* Sentence for a final status other than success (PS3.7 C). */
sl_status sl_line_said(const sl_line &line, unsigned status, const char *asked, sl_error *error);

#endif
