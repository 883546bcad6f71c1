// Four words with byte lanes, behind every kind of port (tests/verilog/test_styles.py).
module store (
    input wire clk, input wire rst,
    input wire write, input wire [1:0] word, input wire [31:0] data, input wire [3:0] lanes,
    output wire [31:0] shown
);
    wire [127:0] words;
    assign shown = words >> {word, 5'b0};
    genvar w, lane;
    generate
        for (w = 0; w < 4; w = w + 1) begin : each
            reg [31:0] kept;
            assign words[32 * w +: 32] = kept;
            for (lane = 0; lane < 4; lane = lane + 1) begin : part
                always @(posedge clk)
                    if (rst) kept[8 * lane +: 8] <= 8'h11 * (w + 1);
                    else if (write && word == w && lanes[lane])
                        kept[8 * lane +: 8] <= data[8 * lane +: 8];
            end
        end
    endgenerate
endmodule

// Says when a call is over: at once, or 12 cycles later if it is slow.
module pace #(parameter LEAST = 0) (
    input wire clk, input wire call, input wire slow, output wire due
);
    reg [4:0] passed = 0;
    assign due = call && passed >= (slow ? 12 : LEAST);
    always @(posedge clk)
        if (!call || due) passed <= 0;
        else passed <= passed + 1;
endmodule
